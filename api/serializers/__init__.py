"""The API's serializers, one file per noun."""
