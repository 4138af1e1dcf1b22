"""Contracts of the tables that come in: one small module a table, one registry over them.

A contract is a pandera schema. The checks of incoming rows and the data dictionary both read
it, so that neither can say something the other does not.
"""
