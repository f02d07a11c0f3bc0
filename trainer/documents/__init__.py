"""Documents on paper: plain values in, the bytes of a tagged PDF out."""

from trainer.documents.markup import drawing, tree
from trainer.documents.pdf import pdf

__all__ = ["drawing", "pdf", "tree"]
