"""What the store keeps in English, as a page says it."""

from django import template

from inventory.models import FOR_WHAT
from mill.retold import retold

register = template.Library()


@register.filter
def for_what(kept: str) -> str:
    """What yarn is held, drawn or wanted for, in the language of the page: Warp 118, warp yarn."""
    return retold(kept, FOR_WHAT)
