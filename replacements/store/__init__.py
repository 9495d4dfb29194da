"""Engine, session, tables, migrations; SQLite and PostgreSQL."""
