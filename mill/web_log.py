"""The grown web server's own lines, in the form of the rest: `gunicorn --logger-class mill.web_log.WebLog`."""

import os
from typing import Any

from gunicorn.glogging import Logger

from mill.logs import JsonLine


class WebLog(Logger):
    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        # Asked of the environment: the server's first process has no settings of ours.
        if os.environ.get("SHEDBOOK_LOG_FORM") == "json":
            for handler in self.error_log.handlers:
                handler.setFormatter(JsonLine())
