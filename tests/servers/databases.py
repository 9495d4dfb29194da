"""PostgreSQL and SQLite databases for tests."""
