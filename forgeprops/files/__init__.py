"""People's files in and ours out: whole or not at all, versioned, limited in size, nothing executed."""

from .cells import Reading, clean_text, header_key, read_number
from .grids import Grid, Problem, column_letter, decimal_mark, read_grids
from .reading import READ_LIMIT_BYTES, Source, decode_text, read_source
from .saved import plain_cell, read_json, read_table, safe_cell, table_note, write_json, write_table
from .writing import locked, update_bytes, write_bytes, writing

__all__ = ["Grid", "Problem", "READ_LIMIT_BYTES", "Reading", "Source", "clean_text", "column_letter",
           "decimal_mark", "decode_text", "header_key", "locked", "plain_cell", "read_grids", "read_json",
           "read_number", "read_source", "read_table", "safe_cell", "table_note", "update_bytes", "write_bytes",
           "write_json", "write_table", "writing"]
