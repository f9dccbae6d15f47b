"""Parts of the templates: forms, files, waiting. Gathered by portal.templatetags.parts."""

from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField

from portal.calc import shown

register = template.Library()


# Forms ------------------------------------------------------------------------------------------


@register.inclusion_tag("portal/parts/field.html")
def field(field: BoundField, unit: str = "", hint: str = "", label: str = "") -> dict[str, Any]:
    """{% field form.length_m unit="m" hint="along the axis" %}: label, input, unit, hint, error."""
    unit = unit or getattr(field.field, "unit", "")
    hint = hint or field.help_text
    ids = [
        f"{field.id_for_label or field.auto_id}-{end}"
        for end, on in (("hint", hint), ("error", field.errors))
        if on
    ]
    attrs: dict[str, Any] = {"aria-describedby": " ".join(ids)} if ids else {}
    if field.errors:
        attrs["aria-invalid"] = "true"
    kind = getattr(field.field.widget, "input_type", None) or type(field.field.widget).__name__.lower()
    choices = kind in {"radio", "checkboxselectmultiple"} or type(field.field.widget).__name__ in {
        "RadioSelect",
        "CheckboxSelectMultiple",
    }
    return {
        "field": field,
        "label": label or field.label,
        "unit": unit,
        "hint": hint,
        "input": field.as_widget(attrs=attrs),
        "layout": "choices" if choices else "tick" if kind == "checkbox" else "line",
        "id": field.id_for_label or field.auto_id,
        "optional": not field.field.required and not choices and kind != "checkbox",
    }


@register.inclusion_tag("portal/parts/form_fields.html")
def form_fields(form: BaseForm) -> dict[str, Any]:
    """{% form_fields form %}: every field of a form, one under the other (hidden ones too)."""
    return {"form": form}


@register.inclusion_tag("portal/parts/error_summary.html")
def error_summary(*forms: BaseForm | BaseFormSet) -> dict[str, Any]:
    """{% error_summary form %}: all errors on top, each a link to its field. Nothing when there are none."""
    errors: list[dict[str, Any]] = []
    for form in forms:
        members = form.forms if isinstance(form, BaseFormSet) else [form]
        if isinstance(form, BaseFormSet):
            errors += [{"label": "", "text": text, "href": ""} for text in form.non_form_errors()]
        for member in members:
            errors += _form_errors(member)
    return {"errors": errors}


def _form_errors(form: BaseForm) -> list[dict[str, Any]]:
    errors = [{"label": "", "text": text, "href": ""} for text in form.non_field_errors()]
    for bound in form:
        href = f"#{bound.id_for_label or bound.auto_id}"
        errors += [{"label": bound.label, "text": text, "href": href} for text in bound.errors]
    return errors


@register.inclusion_tag("portal/parts/drop_zone.html")
def drop_zone(
    name: str = "files",
    label: str = "Drop files here, or choose them",
    accept: str = ".csv,.xlsx",
    multiple: bool = False,
    hint: str = "",
    limit_mb: int = 50,
) -> dict[str, Any]:
    """{% drop_zone name="file" hint="…" %}: a file input that takes dropped files, in a multipart form."""
    return {
        "name": name,
        "label": label,
        "accept": accept,
        "multiple": multiple,
        "hint": hint,
        "limit_mb": limit_mb,
        "id": f"id_{name}",
    }


@register.inclusion_tag("portal/parts/progress.html")
def progress(
    label: str,
    done: Any = None,
    total: Any = None,
    what: str = "row",
    remaining: str = "",
    stop_url: str = "",
) -> dict[str, Any]:
    """{% progress "Storing boards" 340 1200 what="board" remaining="about 2 minutes" stop_url=url %}

    Without a total it says that work is going on without saying how far it is.
    """
    n, of = shown.as_number(done), shown.as_number(total)
    words = f"{shown.number(n, 0)} of {shown.counted(of, what)}" if n is not None and of else ""
    return {
        "label": label,
        "done": n,
        "total": of,
        "words": words,
        "remaining": remaining,
        "stop_url": stop_url,
    }


@register.inclusion_tag("portal/parts/job.html", takes_context=True)
def job_progress(context: template.Context, job: Any, may_stop: bool = False) -> dict[str, Any]:
    """{% job_progress job may_stop=may_write %}: how far a job is; renews itself, and the page once it has ended."""
    return {"job": job, "may_stop": may_stop and not job.ended, "csrf_token": context.get("csrf_token")}
