"""A private SMTP server for tests."""
