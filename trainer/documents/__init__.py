"""Documents on paper: plain values in, the bytes of a tagged PDF out."""

from trainer.documents.apart import pdf_apart
from trainer.documents.letters import LACKING, breakable, printable
from trainer.documents.markup import drawing, drawing_style, tree
from trainer.documents.pdf import BEGINNING, pdf

__all__ = [
    "BEGINNING", "LACKING", "breakable", "drawing", "drawing_style", "pdf", "pdf_apart",
    "printable", "tree",
]  # fmt: skip
