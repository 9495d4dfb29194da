"""Accounts, roles, and what each may do."""
