"""Where a web server takes hold of the book."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")

application = get_wsgi_application()

# Every page's code is here before the first request instead of during it, and before a grown web server copies itself
# into several processes: they are ready at once, and share the memory.
from django.urls import reverse  # noqa: E402 - nothing of the book can be imported before it is set up

reverse("today")

from mill import health  # noqa: E402

# Whoever was sent away from the server before this one may come again.
health.LEAVING.unlink(missing_ok=True)

# What is here by now stays: counted as garbage again and again, it takes some page a tenth of a second each time.
gc.collect()
gc.freeze()
