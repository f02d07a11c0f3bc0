"""The bank: questions/ read, problems drawn from exercises, answers marked.

Content is data (questions/README.md); what a person gets depends on a seed and on nothing else.
"""

from trainer.bank.check import Fault, faults
from trainer.bank.choose import Facts, draw_at_any, draw_problems
from trainer.bank.draw import DrawFault, Problem, Step, draw, draw_at, draw_questions, thaw
from trainer.bank.lots import shuffle
from trainer.bank.mark import Blank, Marking, Slip, mark, mark_question
from trainer.bank.read import (
    Bank,
    BankFault,
    Exercise,
    Option,
    Question,
    load,
    question_of,
    read_folder,
    thaw_question,
    version_of,
)
from trainer.bank.rules import (
    FORMS,
    OPTIONS,
    FieldFault,
    line_name,
    question_advice,
    question_faults,
)
from trainer.words import Words, number

__all__ = [
    "FORMS", "OPTIONS", "Bank", "BankFault", "Blank", "DrawFault", "Exercise", "Facts", "Fault",
    "FieldFault", "Marking", "Option", "Problem", "Question", "Slip", "Step", "Words", "draw",
    "draw_at", "draw_at_any", "draw_problems", "draw_questions", "faults", "line_name", "load",
    "mark", "mark_question", "number", "question_advice", "question_faults", "question_of",
    "read_folder", "shuffle", "thaw", "thaw_question", "version_of",
]
