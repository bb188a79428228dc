"""Published tables, each typed from the one source named in its module."""
