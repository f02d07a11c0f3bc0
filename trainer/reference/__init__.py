"""Published tables: one CSV a table, one frozen dataclass a row, each row with its source."""
