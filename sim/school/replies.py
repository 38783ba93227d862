"""An answer as a person writes it: places and options by number from 1 or by their words, directions in degrees."""

from typing import Any

from sim.errors import BadParam
from sim.school.item import Choice, Form, Item, Line, Number, Order, Place, Several
from sim.shop.commands import shown
from sim.units import shown_unit

HALF_TURN_DEG = 180.0


def how(form: Form) -> str:
    """How a form is answered, in words."""
    if isinstance(form, Choice):
        options = ", ".join(f'{n} "{one}"' for n, one in enumerate(form.options, start=1))
        return f"one of {options}: its number or its first words"
    if isinstance(form, Number):
        return f"{form.name}: {form.low:g} to {form.high:g} {_unit(form)}"
    if isinstance(form, Line):
        allowed = f"{_steps(form)} degrees" if form.steps else "0 to 180 degrees"
        return f"{form.name}: {allowed}, anticlockwise from the right"
    many = len(form.points_mm)
    if isinstance(form, Place):
        return f"a number of the picture, 1 to {many}"
    whole = "all of them, the highest first" if isinstance(form, Order) else "those that are meant, [] for none"
    return f"a list of numbers of the picture, 1 to {many}: {whole}"


def example(item: Item) -> Any:
    """An answer of the item's form, the same for every item of its kind and size."""
    found = [_example(form) for form in item.forms]
    return found if len(found) > 1 else found[0]


def meant(item: Item, answer: Any) -> Any:
    """What a person wrote, as the item takes it.

    Raises
    ------
    BadParam
        Not of the item's form: what is allowed, and what came.
    """
    if len(item.forms) == 1:
        return _meant(item.form, answer)
    names = [_name(form) for form in item.forms]
    if not isinstance(answer, list) or len(answer) != len(names):
        raise BadParam(f"must be a list of {len(names)}, {' and '.join(names)}, got {shown(answer)}")
    return [_meant(form, one) for form, one in zip(item.forms, answer, strict=True)]


def written(item: Item, answer: Any) -> Any:
    """An answer that the item takes, as a person would write it."""
    if len(item.forms) == 1:
        return _written(item.form, answer)
    return [_written(form, one) for form, one in zip(item.forms, answer, strict=True)]


def _name(form: Form) -> str:
    return getattr(form, "name", "one of the options")


def _unit(form: Number) -> str:
    return "%" if form.unit == "points" else shown_unit(form.unit)


def _steps(form: Line) -> str:
    """Directions that may be chosen, in words."""
    step = HALF_TURN_DEG / form.steps
    return f"0, {step:g}, {2 * step:g} ... {HALF_TURN_DEG - step:g}"


def _example(form: Form) -> Any:
    if isinstance(form, Choice):
        return form.options[0].split(":")[0].split(" (")[0]
    if isinstance(form, Number):
        return round((form.low * form.high) ** 0.5, 1) if form.log else round(0.2 * form.high)
    if isinstance(form, Line):
        return 45 if form.steps else 120
    return 2 if isinstance(form, Place) else [2, 1, 3] if isinstance(form, Order) else [1, 4, 5]


def _meant(form: Form, answer: Any) -> Any:
    if isinstance(form, Choice):
        return _option(form, answer)
    if isinstance(form, Place):
        return _from_one(answer, len(form.points_mm))
    if isinstance(form, Order | Several):
        return _several(form, answer)
    if isinstance(form, Number):
        must = f"{form.name} must be {form.low:g} to {form.high:g} {_unit(form)}"
        return _amount(answer, (form.low, form.high), must)
    if form.steps:
        must = f"{form.name} must be one of {_steps(form)} degrees"
        step = _amount(answer, (0.0, HALF_TURN_DEG), must) * form.steps / HALF_TURN_DEG
        if step != round(step):
            raise BadParam(f"{must}, got {shown(answer)}")
        return round(step) % form.steps
    return _amount(answer, (0.0, HALF_TURN_DEG), f"{form.name} must be 0 to {HALF_TURN_DEG:g} degrees")


def _several(form: Order | Several, answer: Any) -> list[int]:
    many = len(form.points_mm)
    must = f"must be a list of {'all' if isinstance(form, Order) else 'some'} numbers from 1 to {many}, each once"
    if not isinstance(answer, list):
        raise BadParam(f"{must}, got {shown(answer)}")
    found = [_from_one(one, many) for one in answer]
    if len(set(found)) != len(found) or (isinstance(form, Order) and len(found) != many):
        raise BadParam(f"{must}, got {shown(answer)}")
    return found


def _option(form: Choice, answer: Any) -> int:
    if type(answer) is int and 1 <= answer <= len(form.options):
        return answer - 1
    text = answer.strip().lower() if isinstance(answer, str) else ""
    fits = [n for n, one in enumerate(form.options) if text and one.startswith(text)]
    if len(fits) != 1:
        raise BadParam(f"must be {how(form)}, got {shown(answer)}")
    return fits[0]


def _from_one(answer: Any, many: int) -> int:
    if type(answer) is not int or not 1 <= answer <= many:
        raise BadParam(f"must be a number of the picture, 1 to {many}, got {shown(answer)}")
    return answer - 1


def _amount(answer: Any, allowed: tuple[float, float], must: str) -> float:
    if type(answer) not in (int, float) or not allowed[0] <= answer <= allowed[1]:
        raise BadParam(f"{must}, got {shown(answer)}")
    return float(answer)


def _written(form: Form, answer: Any) -> Any:
    if isinstance(form, Choice):
        return answer if isinstance(answer, str) else form.options[answer]
    if isinstance(form, Place):
        return answer + 1
    if isinstance(form, Order | Several):
        return [one + 1 for one in answer]
    if isinstance(form, Line) and form.steps:
        return answer * HALF_TURN_DEG / form.steps
    return answer
