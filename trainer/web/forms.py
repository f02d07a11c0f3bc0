"""The forms of the coordinator's pages: what each field is called, and what it takes."""

from collections.abc import Iterable

from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from wtforms import (
    DateField,
    FloatField,
    HiddenField,
    RadioField,
    SelectChoice,
    SelectField,
    SelectMultipleField,
    StringField,
    widgets,
)
from wtforms.validators import AnyOf, DataRequired, Length, Optional, Regexp

from trainer.reference import fit_test_protocols, respirator_classes
from trainer.web.language import current


def choices(pairs: Iterable[tuple[object, object]]) -> list[SelectChoice]:
    """Return the choices of a field from (value, label)."""
    return [SelectChoice(value=value, label=label) for value, label in pairs]


ROLES = [("worker", _l("Worker")), ("trainer", _l("Trainer")), ("coordinator", _l("Coordinator"))]
LANGUAGES = [("en", "English"), ("es", "Español")]
NEEDED = _l("This line must be filled in.")
A_NUMBER = _l("Give a number, such as 180.")
A_DAY = _l("Give a date, such as 2026-11-25.")
CHOOSE = _l("Choose one of these.")


class Ticks(SelectMultipleField):
    """Several choices, each with a box to tick."""

    widget = widgets.ListWidget(prefix_label=False)
    option_widget = widgets.CheckboxInput()


class Number(FloatField):
    """A number; what is none gets a sentence of ours."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed."""
        try:
            super().process_formdata(valuelist)
        except ValueError:
            raise ValueError(A_NUMBER) from None


class Drop(SelectField):
    """One of several; what is none of them gets a sentence of ours."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(
            *args, invalid_choice_message=CHOOSE, invalid_value_message=CHOOSE, **kwargs
        )


class Form(FlaskForm):
    """A form whose faults are said in the reader's language."""

    class Meta(FlaskForm.Meta):
        # The program's own fault sentences are given with each field.
        locales = ("en",)


class PersonForm(Form):
    """Who somebody is."""

    number = StringField(_l("Worker number"), [DataRequired(NEEDED), Length(max=20)])
    name = StringField(_l("Name"), [DataRequired(NEEDED), Length(max=80)])
    language = Drop(_l("Language"), choices=choices(LANGUAGES))
    roles = Ticks(_l("Roles"), choices=choices(ROLES))
    worksites = Ticks(_l("Worksites"), coerce=int)
    qualification = StringField(_l("Qualification as a trainer"), [Length(max=120)])


class WorksiteForm(Form):
    """A worksite, and whom to ask there."""

    name = StringField(_l("Name of the worksite"), [DataRequired(NEEDED), Length(max=80)])
    time_zone = StringField(_l("Time zone"), [DataRequired(NEEDED), Length(max=60)])
    ask_name = StringField(_l("Who can be asked"), [DataRequired(NEEDED), Length(max=80)])
    ask_telephone = StringField(_l("Telephone"), [DataRequired(NEEDED), Length(max=40)])
    ask_place = StringField(_l("Where to find them"), [Length(max=80)])
    ask_hours = StringField(_l("When they are there"), [Length(max=80)])


class RespiratorForm(Form):
    """A respirator that a person gets."""

    class_slug = Drop(_l("Class"))
    use = Drop(
        _l("Use"),
        choices=choices([("required", _l("Required")), ("voluntary", _l("Worn by choice"))]),
    )
    make = StringField(_l("Make"), [Length(max=60)])
    model = StringField(_l("Model"), [Length(max=60)])
    style = StringField(_l("Style"), [Length(max=60)])
    size = StringField(_l("Size"), [Length(max=20)])
    filters = StringField(_l("Filter or cartridge"), [Length(max=60)])

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.class_slug.choices = choices(
            (row.slug, row.name(current())) for row in respirator_classes.recognised()
        )


class Deed(Form):
    """A form that puts one entry into the record, however often it is sent."""

    deed = HiddenField(validators=[Regexp(r"[0-9a-f]{32}", message=CHOOSE)])
    on = DateField(_l("Day"), [DataRequired(A_DAY)])


class MedicalForm(Deed):
    """What the written recommendation allows; no medical detail."""

    outcome = RadioField(
        _l("The written recommendation"),
        choices=choices(
            [
                ("cleared", _l("Cleared")),
                ("limits", _l("Cleared with limits on use")),
                ("not", _l("Not cleared")),
            ]
        ),
        validators=[AnyOf(("cleared", "limits", "not"), CHOOSE)],
    )
    limit = Drop(
        _l("Which limits, if any"),
        choices=choices(
            [
                ("", _l("None")),
                ("powered_only", _l("Powered respirators only")),
                ("as_written", _l("As in the written recommendation")),
            ]
        ),
    )
    until = DateField(_l("Next evaluation by"), [Optional()])


class FitTestForm(Deed):
    """A fit test with the fields of 29 CFR 1910.134(m)(2)(i)."""

    respirator = Drop(_l("Respirator"), coerce=int)
    protocol = Drop(_l("Kind of test"))
    passed = RadioField(
        _l("Qualitative test"),
        choices=choices([("yes", _l("Passed")), ("no", _l("Failed"))]),
        validators=[Optional()],
    )
    fit_factor = Number(_l("Overall fit factor of a quantitative test"), [Optional()])
    recording = StringField(_l("Where its recording is kept"), [Length(max=120)])

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.protocol.choices = choices(
            (row.slug, f"{_KINDS[row.kind]}: {row.name(current())}")
            for row in fit_test_protocols.rows()
        )


_KINDS = {"qualitative": _l("Qualitative"), "quantitative": _l("Quantitative")}


class ExportForm(Form):
    """Which part of the record to take out."""

    class Meta(Form.Meta):
        csrf = False

    first = DateField(_l("From"), [DataRequired(A_DAY)], name="from")
    last = DateField(_l("To"), [DataRequired(A_DAY)], name="to")
    worksite = Drop(_l("Worksite"), default="")
