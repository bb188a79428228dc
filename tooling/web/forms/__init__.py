"""Forms of the pages: they parse what was typed and show it again when it will not do."""
