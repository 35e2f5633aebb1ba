"""From files to rows: which files, their tables, their cells, and the rows they make."""
