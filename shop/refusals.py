"""What a rule says when it will not do a deed. Pages show it beside the field, the API as a problem."""

from collections.abc import Mapping


class Refusal(Exception):
    """The input or the state of things does not allow it. ``errors``: field -> message; "" is the whole."""

    status = 422

    def __init__(self, message: str = "", **errors: str) -> None:
        self.errors: Mapping[str, str] = errors or {"": message}
        self.message = message or "; ".join(errors.values())
        super().__init__(self.message)


class Conflict(Refusal):
    """Somebody else was first: the thing is in another state than this deed needs."""

    status = 409


class Stale(Refusal):
    """The thing was changed since the asker last saw it."""

    status = 412


class Unversioned(Refusal):
    """An update that does not say which version it was made from."""

    status = 428
