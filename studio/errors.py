"""The errors of the house: each says what is wrong, what is allowed and what to do."""


class StudioError(ValueError):
    """A value that cannot be right, said in one plain sentence.

    ``field`` names what the value was given for, so that a form can show the sentence beside
    it and a command can name the option.
    """

    def __init__(self, message: str, *, field: str = "", value: object = None) -> None:
        super().__init__(message)
        self.field = field
        self.value = value


class ReadingError(StudioError):
    """Text typed by a person that cannot be read as the quantity asked for."""


class RangeError(StudioError):
    """A number outside what the quantity can be."""


class NotEnoughError(StudioError):
    """More was asked of a lot than it holds."""


class SnapshotError(StudioError):
    """A snapshot that cannot be planned on; ``faults`` holds every (JSON path, sentence)."""

    def __init__(self, faults: list[tuple[str, str]]) -> None:
        super().__init__("; ".join(f"{path}: {sentence}" for path, sentence in faults))
        self.faults = faults
