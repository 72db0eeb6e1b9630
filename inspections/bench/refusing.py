"""How a rule of the bench says no to one reading while the others go on."""


class No(Exception):
    """One reading is refused: the field that it is about, and what to do."""

    def __init__(self, field: str, message: str) -> None:
        self.field = field
        self.message = message
        super().__init__(message)
