"""The database: tables, queries with names, migrations."""
