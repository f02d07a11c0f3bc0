"""Published tables: one CSV a table, one named tuple a row, each row with its source."""
