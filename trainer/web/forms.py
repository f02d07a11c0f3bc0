"""The forms of trainers and coordinators: what each field is called, and what it takes."""

from collections.abc import Iterable

from flask_babel import gettext
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from wtforms import (
    BooleanField,
    DateField,
    FloatField,
    HiddenField,
    RadioField,
    SelectChoice,
    SelectField,
    SelectMultipleField,
    StringField,
    TextAreaField,
    widgets,
)
from wtforms.validators import (
    AnyOf,
    DataRequired,
    InputRequired,
    Length,
    Optional,
    Regexp,
    ValidationError,
)

from trainer.calculations.faults import CalculationFault
from trainer.reference import (
    contaminants,
    filter_classes,
    fit_test_protocols,
    respirator_classes,
)
from trainer.services.refusal import Refusal
from trainer.web.errors import say
from trainer.web.language import current
from trainer.web.typed import typed_number


def choices(pairs: Iterable[tuple[object, object]]) -> list[SelectChoice]:
    """Return the choices of a field from (value, label)."""
    return [SelectChoice(value=value, label=label) for value, label in pairs]


ROLES = [("worker", _l("Worker")), ("trainer", _l("Trainer")), ("coordinator", _l("Coordinator"))]
LANGUAGES = [("en", "English"), ("es", "Español")]
USES = [
    ("required", _l("Required")),
    ("voluntary", _l("Worn by choice")),
    ("escape", _l("For getting out alone")),
]
NEEDED = _l("This line must be filled in.")
A_DAY = _l("Give a date, such as 2026-11-25.")
CHOOSE = _l("Choose one of these.")


class Ticks(SelectMultipleField):
    """Several choices, each with a box to tick."""

    widget = widgets.ListWidget(prefix_label=False)
    option_widget = widgets.CheckboxInput()


class Number(FloatField):
    """A number; what is none gets a sentence of ours."""

    def process_formdata(self, valuelist: list[str]) -> None:
        """Read what was typed; a number may be written with a decimal comma."""
        text = valuelist[0].strip() if valuelist else ""
        if not text:
            self.data = None
            return
        try:
            self.data = typed_number(self.name, text)
        except CalculationFault as fault:
            raise ValueError(fault.say(current(), str(self.label.text))) from None

    def _value(self) -> str:
        """Return the number as a person would write it, a whole one without a point."""
        return super()._value().removesuffix(".0")


class Factors(TextAreaField):
    """Numbers, one a line; what is none gets a sentence of ours."""

    def numbers(self) -> list[float]:
        """Return the numbers that were typed, the first to the last."""
        return [
            typed_number(self.name, line.strip())
            for line in (self.data or "").splitlines()
            if line.strip()
        ]

    def pre_validate(self, form: FlaskForm) -> None:
        """Refuse a line that is no number."""
        try:
            self.numbers()
        except CalculationFault as fault:
            each = gettext("The fit factor of an exercise")
            raise ValidationError(fault.say(current(), each)) from None


class Drop(SelectField):
    """One of several; what is none of them gets a sentence of ours."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(
            *args, invalid_choice_message=CHOOSE, invalid_value_message=CHOOSE, **kwargs
        )


class Radios(RadioField):
    """One of a few, all in sight; what is none of them gets a sentence of ours."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(
            *args, invalid_choice_message=CHOOSE, invalid_value_message=CHOOSE, **kwargs
        )


class Form(FlaskForm):
    """A form whose faults are said in the reader's language."""

    class Meta(FlaskForm.Meta):
        # The program's own fault sentences are given with each field.
        locales = ("en",)


    def blame(self, refusal: Refusal) -> str:
        """Put the sentence of a refusal at its field; return it if the form has no such field."""
        field = self._fields.get(refusal.field)
        if field is None:
            return say(refusal)
        field.errors = [*field.errors, say(refusal)]
        return ""


class PersonForm(Form):
    """Who somebody is."""

    number = StringField(_l("Worker number"), [DataRequired(NEEDED), Length(max=20)])
    name = StringField(_l("Name"), [DataRequired(NEEDED), Length(max=80)])
    language = Drop(_l("Language"), choices=choices(LANGUAGES))
    roles = Ticks(_l("Roles"), choices=choices(ROLES))
    worksites = Ticks(_l("Worksites"), coerce=int)
    qualification = StringField(_l("Qualification as a trainer"), [Length(max=120)])
    medical = BooleanField(_l("May see and enter medical determinations (only a coordinator)"))


class WorksiteForm(Form):
    """A worksite, and whom to ask there."""

    name = StringField(_l("Name of the worksite"), [DataRequired(NEEDED), Length(max=80)])
    time_zone = StringField(_l("Time zone"), [DataRequired(NEEDED), Length(max=60)])
    ask_name = StringField(_l("Who can be asked"), [DataRequired(NEEDED), Length(max=80)])
    ask_telephone = StringField(_l("Telephone"), [DataRequired(NEEDED), Length(max=40)])
    ask_place = StringField(_l("Where to find them"), [Length(max=80)])
    ask_hours = StringField(_l("When they are there"), [Length(max=80)])
    program_place = StringField(_l("Where the written program is kept"), [Length(max=160)])
    program_on = DateField(_l("Date of the written program"), [Optional()])
    program_by = StringField(_l("Who administers the program"), [Length(max=120)])


class RespiratorForm(Form):
    """A respirator that a person gets."""

    class_slug = Drop(_l("Class"))
    use = Drop(
        _l("Use"),
        choices=choices(USES),
    )
    make = StringField(_l("Make"), [Length(max=60)])
    model = StringField(_l("Model"), [Length(max=60)])
    style = StringField(_l("Style"), [Length(max=60)])
    size = StringField(_l("Size"), [Length(max=20)])
    filters = StringField(_l("Filter or cartridge"), [Length(max=60)])

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.class_slug.choices = choices(
            [("", "–"), *((row.slug, row.name(current()))
                          for row in respirator_classes.recognised())]
        )  # fmt: skip


class Deed(Form):
    """A form that puts one entry into the record, however often it is sent."""

    deed = HiddenField(validators=[Regexp(r"[0-9a-f]{32}", message=CHOOSE)])
    on = DateField(_l("Day"), [DataRequired(A_DAY)])


class LeaveForm(Deed):
    """That a person has left."""

    on = DateField(_l("Last day"), [DataRequired(A_DAY)])


class ReturnForm(Deed):
    """That a person has come back."""

    on = DateField(_l("First day back"), [DataRequired(A_DAY)])
    worksites = Ticks(_l("Worksites"), coerce=int)


class MedicalForm(Deed):
    """What the written recommendation allows; no medical detail."""

    outcome = Radios(
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
    passed = Radios(
        _l("Outcome of a qualitative test"),
        choices=choices([("yes", _l("Passed")), ("no", _l("Failed"))]),
        validators=[Optional()],
    )
    fit_factor = Number(_l("Overall fit factor of a quantitative test"), [Optional()])
    exercises = Factors(_l("Or the fit factor of each exercise, one a line"), [Optional()])
    recording = StringField(_l("Where its recording is kept"), [Length(max=120)])
    in_order = BooleanField(_l("I know that no medical clearance came before this fit test"))

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.protocol.choices = choices(
            (row.slug, f"{_KINDS[row.kind]}: {row.name(current())}")
            for row in fit_test_protocols.rows()
        )


def before_medical() -> Refusal:
    """Return what is said of a fit test that no medical clearance came before, (e)(1)."""
    return Refusal(
        "On that day nothing in the record clears this person medically, and the evaluation comes "
        "before the fit test: 29 CFR 1910.134(e)(1). Look at the day; if it is right, tick below "
        "that you know.",
        field="in_order",
    )


class StrikeForm(Form):
    """Why an entry never should have been."""

    why = Drop(_l("Why it is struck"))
    note = StringField(_l("A short note"), [Length(max=160)])


class PutBackForm(Form):
    """Why an entry that was struck is to count again."""

    note = StringField(_l("A short note"), [Length(max=160)])


class _Right(Form):
    why = Drop(_l("What was wrong"))
    note = StringField(_l("A short note"), [Length(max=160)])


class RightAppendixD(_Right):
    """What is right of an entry of Appendix D."""

    on = DateField(_l("Day"), [DataRequired(A_DAY)])


class RightMedical(MedicalForm):
    """What is right of a determination; no note: no medical detail can be entered."""

    deed = None
    why = Drop(_l("What was wrong"))


class RightFitTest(FitTestForm):
    """What is right of a fit test."""

    deed = None
    respirator = Drop(_l("Respirator"))
    why = Drop(_l("What was wrong"))
    note = StringField(_l("A short note"), [Length(max=160)])


_KINDS = {"qualitative": _l("Qualitative"), "quantitative": _l("Quantitative")}


class CreditForm(Deed):
    """Earlier training, 29 CFR 1910.134(k)(4); its elements are marked beside the form."""

    on = DateField(_l("Day of the earlier training"), [DataRequired(A_DAY)])
    given_by = StringField(_l("Who gave it"), [DataRequired(NEEDED), Length(max=160)])
    proof = StringField(_l("Proof that you saw"), [DataRequired(NEEDED), Length(max=160)])
    trained_with = Ticks(_l("It was about these respirators"))


class HazardForm(Form):
    """What is in the air of a task."""

    substance = Drop(_l("Substance"))
    name = StringField(_l("Its name, if it is not in the list"), [Length(max=80)])
    kind = Drop(
        _l("What it is"),
        choices=choices(
            [
                ("", _l("As in the list")),
                ("particulate", _l("Particles: dust, fume, mist")),
                ("gas", _l("Gas")),
                ("vapor", _l("Vapor")),
                ("both", _l("Particles and a vapor")),
            ]
        ),
    )
    unit = Drop(
        _l("Unit"),
        choices=choices([("", _l("As in the list")), ("ppm", "ppm"), ("mg/m³", "mg/m³")]),
    )
    molecular_weight = Number(_l("Molecular weight of one of your own, in g/mol"), [Optional()])
    limit = Number(_l("The limit that your employer uses"), [Optional()])
    limit_kind = Drop(
        _l("Kind of limit"),
        choices=choices([("TWA", _l("8-hour average")), ("ceiling", _l("Ceiling"))]),
    )
    limit_source = StringField(_l("Where the limit comes from"), [Length(max=160)])
    idlh = Number("IDLH", [Optional()])
    oxygen_percent = Number(_l("Oxygen in this air, in %"), [Optional()])
    oil = BooleanField(_l("There is oil mist in the air"))
    eye_irritation = BooleanField(_l("It irritates the eyes"))

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        named = sorted((row.name(current()), row.slug) for row in contaminants.rows())
        self.substance.choices = choices(
            [("", _l("One of your own")), *((slug, name) for name, slug in named)]
        )


class SampleForm(Form):
    """One concentration that was measured."""

    on = DateField(_l("Day"), [DataRequired(A_DAY)])
    hours = Number(_l("Hours"), [InputRequired(NEEDED)])
    concentration = Number(_l("Concentration"), [InputRequired(NEEDED)])
    unit = Drop(_l("Unit"), choices=choices([("ppm", "ppm"), ("mg/m³", "mg/m³")]))


class TaskRespiratorForm(Form):
    """A respirator that is worn for a task, with what it carries."""

    class_slug = Drop(_l("Class"))
    make = StringField(_l("Make"), [Length(max=60)])
    model = StringField(_l("Model"), [Length(max=60)])
    style = StringField(_l("Style"), [Length(max=60)])
    sizes = StringField(_l("Sizes that are kept"), [Length(max=60)])
    filter_class = Drop(_l("Class of particle filter"))
    cartridge = StringField(_l("Cartridge, as its label says"), [Length(max=80)])
    serves = BooleanField(_l("The label names every gas and vapor of this task"))
    cartridge_limit = Number(_l("The cartridge's own limit, in the unit of the task"), [Optional()])
    approval = StringField(_l("Approval number"), [Length(max=20)])
    schedule_hours = Number(_l("The cartridge is changed after so many hours"), [Optional()])
    schedule_basis = StringField(_l("On which data that rests"), [Length(max=200)])
    indicator = BooleanField(_l("It has an end-of-service-life indicator"))
    eye_protection = BooleanField(_l("Sealed eye protection is worn with it"))
    hood_evidence = BooleanField(_l("You hold the maker's test results that show 1,000"))

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.class_slug.choices = choices(
            [("", "–"), *((row.slug, row.name(current()))
                          for row in respirator_classes.recognised())]
        )  # fmt: skip
        self.filter_class.choices = choices(
            [("", _l("None")), *((row.name, row.name) for row in filter_classes.rows())]
        )


class PacketForm(Form):
    """What an inspection packet is about."""

    deed = HiddenField(validators=[Regexp(r"[0-9a-f]{32}", message=CHOOSE)])
    worksite = Drop(_l("Worksite"), coerce=int)
    first = DateField(_l("From"), [DataRequired(A_DAY)])
    last = DateField(_l("To"), [DataRequired(A_DAY)])
    language = Drop(_l("Language"), choices=choices(LANGUAGES))
    medical = BooleanField(
        _l("Who is medically cleared, limits on use and the next evaluation; nothing more")
    )
    answers = BooleanField(_l("What each person answered to each question of the sittings"))


class ExportForm(Form):
    """Which part of the record to take out, and as what."""

    class Meta(Form.Meta):
        csrf = False

    worksite = Drop(_l("Worksite"), default="")
    first = DateField(_l("From"), [DataRequired(A_DAY)], name="from")
    last = DateField(_l("To"), [DataRequired(A_DAY)], name="to")
    what = Radios(
        _l("What"),
        default="training",
        choices=choices([
            ("training", _l("Lessons, practice, training as a whole, credit")),
            ("fit-tests", _l("Fit tests")),
            ("everything", _l("All kinds of entry")),
        ]),
    )
    medical = BooleanField(_l("Medical determinations"))
    state = Drop(
        _l("State today"),
        default="",
        choices=choices([
            ("", _l("Any")), ("clear", _l("Clear")), ("soon", _l("Due soon")),
            ("not", _l("Not clear")), ("new", _l("New")),
        ]),
    )  # fmt: skip
    missing = Drop(
        _l("What is missing"),
        default="",
        choices=choices([
            ("", _l("Any")), ("medical", _l("Medical evaluation")), ("training", _l("Training")),
            ("practice", _l("Practice, watched")), ("fit-test", _l("Fit test")),
            ("appendix-d", _l("Appendix D")), ("respirator", _l("Respirator")),
        ]),
    )  # fmt: skip
    q = StringField(_l("Name or number"), [Length(max=60)])
    format = Radios(
        _l("As"),
        default="csv",
        choices=choices([
            ("csv", _l("CSV: a table for any program")),
            ("xlsx", _l("XLSX: a workbook with dates and numbers")),
            ("pdf", _l("PDF: to print, each person on pages of their own")),
            ("json", _l("JSON: for programs, everything that an entry says")),
            ("jsonl", _l("JSON lines: the same, an entry a line")),
            ("xapi", _l("xAPI statements: for a store of learning records")),
        ]),
    )
