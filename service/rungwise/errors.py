"""The errors a person can do something about: one base, one class a cause.

Each is caught in one place and turned into a page, an exit code or a 4xx answer.
The message is a whole sentence that says what to do.
"""


class ServiceError(Exception):
    """Something the person who asked can put right.

    A cause that always says the same is a class without more: its docstring is the message.
    """

    def __init__(self, message: str | None = None) -> None:
        super().__init__(
            " ".join((type(self).__doc__ or "").split()) if message is None else message
        )


class ImpossibleValue(ServiceError):
    """A field holds a value that cannot be; names the field, the value and the allowed range."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field} is {value!r}; it must be {allowed}.")
        self.field = field
        self.value = value
        self.allowed = allowed


class NotFound(ServiceError):
    """No such thing, or not yours to see."""


class EditedMeanwhile(ServiceError):
    """Someone else changed this since you opened it. Look at the new state and save again."""
