"""Bytes of a message to a `Letter` and back: what was written, what is new in it, who sent it, whether a machine did.

Pure: bytes and settings in, data out; no clock, no database, no network.
"""
