"""The mill says no, in words fit to show to whoever asked."""


class Refusal(ValueError):
    """A request that the mill can't meet.

    The message names the thing, both numbers and the way out. `field` names
    the form field it belongs beside, when there is one.
    """

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
