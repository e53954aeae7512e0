"""Read a flight file (TOML) and the thrust curve or record it names (CSV)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from driftmap.core.errors import FlightError, nearest
from driftmap.core.files import mistaken, quotes_in, read_text, toml_of
from driftmap.core.tables import remarks
from driftmap.rocket.airframe import Airframe
from driftmap.rocket.altimeter_record import (
    LARGEST_RECORD,
    Record,
    read_record,
    sinks_of,
)
from driftmap.rocket.curvefile import read_curve
from driftmap.rocket.fields import Uncertain
from driftmap.rocket.flight import Flight, Measured, table_of
from driftmap.rocket.stages import OWN_SPREAD

if TYPE_CHECKING:
    from driftmap.rocket.altimeter_fit import Inferred


_HEIGHT_SPREAD = 0.05  # assumed; as for an apogee given without a spread
_NOT_KEYS = {
    "fitted",
    "notes",
    "said",
    "sinks",
    "source",
}  # of Flight, but not of the file
_Model = TypeVar("_Model", bound=BaseModel)


def read_flight(path: str | Path) -> Flight:
    """Read a flight file.

    Parameters
    ----------
    path : str or Path
        A TOML file, as ``driftmap help flight`` describes it; a thrust curve or an altimeter's
        record that it names lies beside it.

    Returns
    -------
    Flight
        The flight as planned, every value checked.

    Raises
    ------
    FlightError
        One line that names the file, the key or line, and what is accepted.
    """
    source = str(path)
    data = toml_of(Path(path), FlightError)
    for key in _NOT_KEYS & data.keys():
        raise FlightError(
            source, key, f"is not a key here; {nearest(key, _keys((key,)))}"
        )
    said: list[str] = []
    for where, table in (
        ("motor", data),
        ("sustainer.motor", data.get("sustainer")),
        ("air_start.motor", data.get("air_start")),
    ):
        motor = table.get("motor") if isinstance(table, dict) else None
        if isinstance(table, dict) and isinstance(motor, dict):
            table["motor"] = _with_curve(motor, Path(path), where, said)
    notes: tuple[str, ...] = ()
    fitted = "measured" in data
    if fitted:
        data, notes = _with_record(data, Path(path), said)
    told = {"source": source, "notes": notes, "said": tuple(dict.fromkeys(said))}
    return _checked(Flight, {**data, **told, "fitted": fitted}, source)


def _checked(
    model: type[_Model], data: object, source: str, place: tuple[str, ...] = ()
) -> _Model:
    """Check a table of the file, or all of it."""
    try:
        return model.model_validate(data)
    except ValidationError as problem:
        whole = None if place else data
        raise mistaken(
            problem, whole, source, _keys, within=place, fault=FlightError
        ) from None


def _with_curve(
    motor: dict[str, Any], flight: Path, where: str, said: list[str]
) -> dict[str, Any]:
    """Replace the name of a thrust curve by its points, impulse and burn time.

    Remarks of makers stand in nearly every curve: what it says is told, and holds nothing.
    """
    if "thrust_curve" not in motor:
        return motor
    doubled = [
        k for k in ("total_impulse", "burn_time", "times", "thrusts") if k in motor
    ]
    if doubled:
        message = f"must be left out beside {where}.thrust_curve"
        raise FlightError(str(flight), f"{where}.{doubled[0]}", message)
    name = motor["thrust_curve"]
    if not isinstance(name, str):
        message = "must be the name of a CSV file"
        raise FlightError(str(flight), f"{where}.thrust_curve", message)
    curve = flight.parent / name
    text = read_text(curve, FlightError)
    said += quotes_in(str(curve), remarks(text))
    times, thrusts = read_curve(text, str(curve))
    impulse = sum(
        (b - a) * (f + g) / 2
        for a, b, f, g in zip(times, times[1:], thrusts, thrusts[1:], strict=False)
    )
    rest = {k: v for k, v in motor.items() if k != "thrust_curve"}
    return {
        **rest,
        "times": tuple(times),
        "thrusts": tuple(thrusts),
        "total_impulse": impulse,
        "burn_time": times[-1],
    }


def _with_record(
    data: dict[str, Any], flight: Path, said: list[str]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Replace the measured flight by the motor and drag that explain it; add notes."""
    source = str(flight)
    for other in ("motor", "apogee"):
        if other in data:
            raise FlightError(source, other, "must be left out beside [measured]")
    measured = _checked(Measured, data["measured"], source, ("measured",))
    frame = data.get("airframe", {})
    known = isinstance(frame, dict) and "drag_coefficient" in frame
    if isinstance(frame, dict):  # a stand-in until the record gives the drag
        frame = {"drag_coefficient": 1.0, **frame}
    airframe = _checked(Airframe, frame, source, ("airframe",))
    path = flight.parent / measured.curve
    text = read_text(path, FlightError, LARGEST_RECORD)
    said += quotes_in(str(path), remarks(text))
    record = read_record(text, str(path))
    found = _inferred(measured, record, airframe, flight, known=known)
    burns, differs = float(found.times[-1]), OWN_SPREAD if measured.own else 0.0
    motor = {
        "propellant_mass": measured.propellant_mass,
        **({"count": measured.count} if "count" in measured.model_fields_set else {}),
        "stages": measured.stages,
        "own": measured.own,
        "total_impulse": Uncertain(
            found.impulse, max(found.impulse_spread, differs * found.impulse)
        ),
        "burn_time": Uncertain(burns, max(found.burn_spread, differs * burns)),
        "times": tuple(found.times.tolist()),
        "thrusts": tuple(found.thrusts.tolist()),
    }
    frame["drag_coefficient"] = Uncertain(found.drag, found.drag_spread)
    rest = {key: value for key, value in data.items() if key != "measured"}
    notes = _notes(measured, found, known=known)
    sinks = sinks_of(record)  # what was fitted has a way up
    return {**rest, "airframe": frame, "motor": motor, "sinks": sinks}, notes


def _inferred(
    measured: Measured, record: Record, airframe: Airframe, flight: Path, *, known: bool
) -> Inferred:
    from driftmap.rocket.altimeter_fit import infer  # noqa: PLC0415 (brings scipy)
    from driftmap.rocket.vertical_flight import Climber  # noqa: PLC0415

    if measured.propellant_mass >= airframe.mass.value:
        where = "measured.propellant_mass"
        raise FlightError(str(flight), where, "must be less than airframe.mass")
    body = Climber(
        mass=airframe.mass.value,
        propellant=measured.propellant_mass,
        cross_section=airframe.cross_section,
        altitude=measured.altitude or 0.0,
        table=airframe.drag_table(),
    )
    spread = measured.height_spread
    try:
        return infer(
            record,
            body,
            _HEIGHT_SPREAD if spread is None else spread,
            airframe.drag_coefficient if known else None,
        )
    except ValueError as problem:
        source = str(flight.parent / measured.curve)
        raise FlightError(source, "", str(problem)) from None


def _notes(measured: Measured, found: Inferred, *, known: bool) -> tuple[str, ...]:
    """Say what the record gave, and what was assumed to read it."""
    given = " and the drag coefficient given" if known else ""
    notes = [
        f"measured flight {measured.curve}: apogee {found.apogee:.0f} m after "
        f"{found.apogee_time:.1f} s; total impulse {found.impulse:.0f} N s, burn "
        f"{found.times[-1]:.2f} s and drag coefficient {found.drag:.2f} +/- "
        f"{found.drag_spread:.2f} are fitted to it{given}, missing its heights by "
        f"{found.misfit:.1f} m (root mean square)",
        "measured flight: straight up in still standard air, so its lean and its wind "
        "count as drag (assumed)",
        "measured flight: heights fix impulse and drag, not how thrust begins; burn time "
        f"spread {found.burn_spread / found.times[-1]:.0%}, and with it the speed off the "
        "rail (assumed)",
    ]
    if measured.height_spread is None:
        notes.append(f"measured heights: spread {_HEIGHT_SPREAD:.0%} (assumed)")
    if measured.altitude is None:
        notes.append("measured flight: from a pad at sea level (assumed)")
    return tuple(notes)


def _keys(loc: Sequence[int | str]) -> list[str]:
    """Name the keys that are known at a place."""
    model = table_of(loc[:-1])
    names = [f.alias or n for n, f in model.model_fields.items() if n not in _NOT_KEYS]
    return [*names, "measured"] if model is Flight else names


def flight_schema() -> dict[str, Any]:
    """Describe a flight file to an editor, as JSON Schema.

    Result: keys, texts and counts; whether a quantity has the right unit only reading
    tells.
    """
    schema = Flight.model_json_schema(by_alias=True)
    measured = Measured.model_json_schema(by_alias=True)
    schema["$defs"]["Measured"] = measured
    schema["properties"]["measured"] = {"$ref": "#/$defs/Measured"}
    motor = schema["$defs"]["Motor"]
    motor["properties"]["thrust_curve"] = {"type": "string"}
    motor["required"] = ["propellant_mass"]
    for table, keys in ((schema, _NOT_KEYS), (motor, {"times", "thrusts"})):
        for key in keys:
            del table["properties"][key]
    plain: dict[str, Any] = _as_written(schema)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **plain}


def _as_written(part: Any) -> Any:
    """Let numbers carry their unit; keep of each description what comes first."""
    if isinstance(part, list):
        return [_as_written(one) for one in part]
    if not isinstance(part, dict):
        return part
    if part.get("type") == "number" or part.get("$ref") == "#/$defs/Uncertain":
        return {"type": ["number", "string"]}
    if part.get("$ref") == "#/$defs/Trigger":
        return {"type": "string"}
    kept = {key: one for key, one in part.items() if key not in {"title", "default"}}
    if isinstance(told := kept.get("description"), str):
        kept["description"] = told.partition("\n")[0]
    return {key: _as_written(one) for key, one in kept.items()}
