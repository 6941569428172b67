"""What a command says when it cannot do what was asked."""


class CommandError(Exception):
    """A plain message for the person at the terminal; ``code`` is the exit code (2 wrong use, 3 could not run)."""

    def __init__(self, message: str, code: int = 2) -> None:
        super().__init__(message)
        self.code = code
