"""How the house prints a form: one row a field, faults first, hints and faults tied to inputs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.forms import BaseForm
from django.forms.boundfield import BoundField
from django.forms.formsets import BaseFormSet
from django.forms.renderers import TemplatesSetting
from django.forms.widgets import CheckboxInput, ChoiceWidget, MultiWidget, Select, Widget

# Widgets of the framework that are drawn the house's way wherever they turn up.
HOUSE_TEMPLATES = {
    "django/forms/widgets/radio.html": "studio/forms/pick.html",
    "django/forms/widgets/checkbox_select.html": "studio/forms/pick.html",
}


def is_set_of_choices(widget: Widget) -> bool:
    """Tell whether a widget shows every choice at once, as radio buttons or tick boxes."""
    return isinstance(widget, ChoiceWidget) and not isinstance(widget, Select)


class HouseBoundField(BoundField):
    """A field that knows its shape on the page and where a link to it must lead."""

    @property
    def shape(self) -> str:
        """Return "choices", "tick" or "line", which decide how the row is built."""
        widget = self.field.widget
        if is_set_of_choices(widget):
            return "choices"
        return "tick" if isinstance(widget, CheckboxInput) else "line"

    @property
    def fault_target(self) -> str:
        """Return the id that a link in the fault list jumps to: something that takes focus."""
        first = "_0" if self.shape == "choices" else ""
        return f"{self.auto_id}{first}"

    @property
    def label_target(self) -> str:
        """Return the id of the control that the label names."""
        return self.id_for_label or self.auto_id

    def build_widget_attrs(
        self, attrs: dict[str, Any], widget: Widget | None = None
    ) -> dict[str, Any]:
        """Give every plain control the class of the house."""
        widget = widget or self.field.widget
        built: dict[str, Any] = super().build_widget_attrs(attrs, widget)
        if self.shape == "choices":
            # A radio button cannot be invalid by itself: its fieldset carries the fault.
            built.pop("aria-invalid", None)
        plain = self.shape == "line" and not isinstance(widget, MultiWidget)
        if plain and not widget.is_hidden and "class" not in widget.attrs:
            built.setdefault("class", "in")
        return built


class HouseRenderer(TemplatesSetting):
    """Render forms with the templates of the house; named by ``FORM_RENDERER``."""

    form_template_name = "studio/forms/form.html"
    field_template_name = "studio/forms/field.html"
    formset_template_name = "components/formset.html"
    bound_field_class = HouseBoundField

    def get_template(self, template_name: str) -> Any:
        """Load a template, exchanging those that the house draws itself."""
        return super().get_template(HOUSE_TEMPLATES.get(template_name, template_name))


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to put right: where it is, what it is called, what to do."""

    target: str
    label: str
    text: str


def fault_list(*sources: Any) -> list[Fault]:
    """Return the faults of forms and formsets in the order of the page."""
    faults: list[Fault] = []
    for source in sources:
        if isinstance(source, BaseFormSet):
            faults += _formset_faults(source)
        elif isinstance(source, BaseForm) and source.is_bound:
            faults += _form_faults(source)
    return faults


def _form_faults(form: BaseForm, row: str = "") -> list[Fault]:
    whole = [Fault("", row, str(text)) for text in form.non_field_errors()]
    hidden = [Fault("", row, str(text)) for field in form.hidden_fields() for text in field.errors]
    seen = [
        Fault(
            field.fault_target,
            f"{row}, {str(field.label).lower()}" if row else str(field.label),
            " ".join(str(text) for text in field.errors),
        )
        for field in form.visible_fields()
        if field.errors
    ]
    # A form that keeps a second row along, such as a quote with its new sheet, names that form.
    within = getattr(form, "forms_within", ())
    return (
        whole + hidden + seen + [one for name, held in within for one in _form_faults(held, name)]
    )


def _formset_faults(formset: BaseFormSet) -> list[Fault]:
    if not formset.is_bound:
        return []
    faults = [Fault("", "", str(text)) for text in formset.non_form_errors()]
    for number, form in enumerate(formset.forms, start=1):
        if not (formset.can_delete and formset._should_delete_form(form)):
            faults += _form_faults(form, row=f"Row {number}")
    return faults
