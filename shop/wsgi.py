"""The door for the web server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
application = get_wsgi_application()

from shop.warming import warm_up  # noqa: E402  the apps have to be there

warm_up()
