"""Pages: doors that parse, call one service or query, and answer."""
