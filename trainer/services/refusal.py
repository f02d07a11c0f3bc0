"""A thing that cannot be done, and the sentence that says so."""

from collections.abc import Mapping


class Refusal(ValueError):
    """Something asked for cannot be done; the page shows why, in the reader's language.

    text    the English sentence, which the catalogues translate; it may hold %(name)s
    field   what it is about, by the name that forms give it; empty where it is about the whole
    """

    def __init__(self, text: str, *, field: str = "", **values: object) -> None:
        super().__init__(text)
        self.text = text
        self.field = field
        self.values = values

    @classmethod
    def told(cls, kept: Mapping) -> "Refusal":
        """Return a refusal as `keep` gave it."""
        return cls(kept["text"], **kept["values"])

    def keep(self) -> dict:
        """Return it as JSON can keep it until it is shown; what it is about aside."""
        return {"text": self.text, "values": self.values}

    def __str__(self) -> str:
        """Return the sentence in English."""
        return self.text % self.values
