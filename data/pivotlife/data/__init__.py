"""Contracts of the tables that come in, and the invented fleet."""
