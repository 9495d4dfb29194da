"""Backups of a whole office: taken while it works, restored elsewhere, and proved by the ledger inside."""
