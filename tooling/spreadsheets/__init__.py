"""Files to rows and problems, and rows to files. Reads no database and writes none.

The way of a sheet: ``files.read_sheets`` → ``suggest.suggest_mapping`` → a person changes the
mapping → ``rows.read_rows`` → rows for the import service, problems for the person.
The way back: ``exports.write_csv`` / ``exports.write_xlsx``; ``templates.template_xlsx``.
"""
