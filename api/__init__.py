"""The API's door: the same services and queries as the pages."""
