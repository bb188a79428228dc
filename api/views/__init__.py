"""The API's views, one file per noun."""
