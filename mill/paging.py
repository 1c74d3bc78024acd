"""Lists of the API, leaf by leaf: so many rows at most, and which of them."""

from typing import Any

from rest_framework.pagination import LimitOffsetPagination

USUAL, AT_MOST = 100, 500


class Leaves(LimitOffsetPagination):
    default_limit = USUAL
    max_limit = AT_MOST
    limit_query_description = f"So many rows at most: {USUAL} when nothing is said, never more than {AT_MOST}."
    offset_query_description = "So many rows are passed over first."

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        limit, offset = super().get_schema_operation_parameters(view)
        # A larger one is not refused: it is answered with as many as there may be, and `next` leads on.
        limit["schema"] = {"type": "integer", "minimum": 1, "default": USUAL}
        offset["schema"] = {"type": "integer", "minimum": 0, "default": 0}
        return [limit, offset]
