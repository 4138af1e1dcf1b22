"""Benches print what they measured; run them with `make bench`."""
