"""A private Dovecot for tests."""
