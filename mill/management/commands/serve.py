"""The web server of one PC by itself; `start` runs it beside the job worker."""

import logging
from typing import Any

import waitress
from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, connection

from mill.tether import leave_in_good_order, tie_to

log = logging.getLogger("mill.serve")
# More than any form, file or request of the API holds. What comes is kept on disk before anybody knows who sends it.
REQUEST_BYTES_MAX = settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1_000_000


class Command(BaseCommand):
    help = "The web server alone. `start` runs it together with the job worker."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--listen", default="127.0.0.1", help="0.0.0.0 lets the whole network in (127.0.0.1)")
        parser.add_argument("--parent", type=int, metavar="PID", help="end when this process does")

    def handle(self, *, port: int, listen: str, parent: int | None, **options: Any) -> None:
        # Requests that are being answered are answered to the end.
        leave_in_good_order()
        if parent:
            tie_to(parent)
        from mill.wsgi import application

        if connection.vendor == "sqlite":
            # Open as long as the book is: SQLite's files beside the book stay, and on a full disk it can still be read.
            try:
                connection.ensure_connection()
            except OperationalError as wrong:
                log.warning("The book can't be opened yet (%s); pages say so until it can.", wrong)
        waitress.serve(
            application,
            host=listen,
            port=port,
            threads=8,
            ident="Shedbook",
            # What a proxy writes into a request is how an open book knows that it comes from elsewhere.
            clear_untrusted_proxy_headers=False,
            max_request_body_size=REQUEST_BYTES_MAX,
        )
