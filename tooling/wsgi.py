"""The web server's door.

All pages are loaded before the first request, and what start-up made is left out of every later
garbage collection: a full one took a tenth of a second in the middle of somebody's scan.
"""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tooling.settings")
application = get_wsgi_application()
assert get_resolver().url_patterns
gc.collect()
gc.freeze()
