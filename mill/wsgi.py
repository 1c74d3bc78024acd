"""Where a web server takes hold of the book."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")

application = get_wsgi_application()
