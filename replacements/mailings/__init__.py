"""Closing a mailing: packets, labels, pick list, manifest, sign-off, reprints, stock."""
