"""Numbers as people type them into the fields of a page."""

from trainer.bank import numerals
from trainer.calculations.faults import CalculationFault
from trainer.web.language import current
from trainer.words import number


def typed_number(name: str, text: str) -> float:
    """Return a number as a person writes it: with a decimal comma, a fraction, or 1,000.

    Errors: CalculationFault, also where it can be read in two ways.
    """
    found = numerals.read_quantity(text)
    if found is None:
        raise CalculationFault(name, "{it} must be a number, such as 2.5.",
                               "{it} tiene que ser un número, como 2.5.")
    readings, unit = found
    if unit is not None:
        raise CalculationFault(name, "{it}: write the number alone; its unit stands beside it.",
                               "{it}: escriba solo el número; la unidad está al lado.")
    usual = [reading for reading in readings if reading.usual_in(current())] or readings
    if len(usual) > 1:
        first, second = (number(float(reading.value)) for reading in usual[:2])
        raise CalculationFault(
            name, "{it}: {typed} can be read in two ways, {first} or {second}. Write it without "
            "the separator.",
            "{it}: {typed} se puede leer de dos maneras, {first} o {second}. Escríbalo sin el "
            "separador.", typed=text, first=first, second=second,
        )
    return float(usual[0].value)
