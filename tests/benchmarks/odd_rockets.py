"""Rockets that nobody has built, each allowed by the reader: shapes for the physics to meet."""

import math
import random

__all__ = ["odd_rocket"]


def odd_rocket(rng: random.Random) -> str:
    """Give a flight file: sizes over their decades, stages, motors in the air, any recovery."""
    wide = _log(rng, 0.005, 1.5)
    long = min(wide * _log(rng, 1, 40), 29.0)
    mass = min(max(_log(rng, 30, 2000) * wide * wide * long, 0.001), 900.0)
    frame = {"mass": mass, "diameter": wide, "length": long}
    tables = [("", {"name": '"Odd"'}), ("airframe", frame | _some_body(rng, frame))]
    rail = {"length": f'"{_log(rng, 0.1, 10)} m"', "angle": rng.uniform(0, 45)}
    tables += [("rail", rail), ("motor", _motor(rng, mass))]
    if rng.random() < 0.2:
        fall = rng.choice(('"nose first"', '"tumbling"'))
        tables.append(("descent", {"planned": fall}))
    else:
        names = ("drogue", "main")[: rng.choice((1, 2))]
        tables += [("[recovery]", _device(rng, name, mass)) for name in names]
    tables += [("[piece]", piece) for piece in _pieces(rng, frame)]
    return "".join(
        (f"[{name}]\n" if name else "")
        + "".join(f"{key} = {value}\n" for key, value in table.items())
        for name, table in tables + _in_the_air(rng, frame)
    )


def _log(rng: random.Random, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def _some_body(rng: random.Random, frame: dict[str, float]) -> dict[str, float]:
    most = frame["mass"] * frame["length"] ** 2 / 4
    may = {
        "stability": rng.uniform(-3, 6),
        "drag_coefficient": _log(rng, 0.05, 4),
        "moment_of_inertia": most * _log(rng, 0.005, 0.99),
        "lift_slope": _log(rng, 2, 90),
    }
    return {key: value for key, value in may.items() if rng.random() < 0.4}


def _motor(rng: random.Random, mass: float) -> dict[str, object]:
    burnt = mass * _log(rng, 0.001, 0.6)
    impulse = burnt * _log(rng, 300, 2600)
    burn = impulse / (mass * 9.8 * _log(rng, 1.5, 60))
    return {
        "propellant_mass": burnt,
        "total_impulse": impulse,
        "burn_time": min(max(burn, 0.01), 600.0),
    }


def _device(rng: random.Random, name: str, mass: float) -> dict[str, object]:
    opens = ["apogee", f"{_log(rng, 3, 1000):g} m", f"{_log(rng, 0.2, 90):g} s"]
    told: dict[str, object] = {
        "name": f'"{name}"',
        "opens_at": f'"{rng.choice(opens)}"',
    }
    if rng.random() < 0.3:
        size = {"length": _log(rng, 0.05, 10), "width": _log(rng, 0.005, 0.5)}
        return {**told, "kind": '"streamer"', **size}
    across = min(max(math.sqrt(mass) * _log(rng, 0.1, 3), 0.001), 30.0)
    told |= {"kind": '"canopy"', "diameter": across}
    if rng.random() < 0.3:
        told["strength"] = f"{{ canopy = {_log(rng, 0.1, 1e5)} }}"
    return told


def _pieces(rng: random.Random, frame: dict[str, float]) -> list[dict[str, object]]:
    wide, mass = frame["diameter"], frame["mass"]

    def size(low: float, high: float, least: float = 0.001) -> float:
        return min(max(wide * _log(rng, low, high), least), 30.0)

    fin = {
        "name": '"fin"',
        "kind": '"fin"',
        "count": rng.choice((1, 3, 4)),
        "root": size(0.2, 5),
        "tip": rng.choice((0, size(0.05, 3))),
        "span": size(0.1, 4),
        "thickness": min(size(0.002, 0.3, 5e-5), 1.0),
        "material": rng.choice(('"plywood"', '"aluminium"')),
    }
    if rng.random() < 0.3:
        plastic = '"solid plastic"'
        fin |= {
            "printed": "true",
            "infill": rng.choice((0, 0.05, 1)),
            "material": plastic,
        }
    nose = {
        "name": '"nose"',
        "kind": '"nose cone"',
        "length": size(0.2, 6),
        "diameter": size(0.3, 1.5),
    }
    case = {
        "name": '"case"',
        "kind": '"motor case"',
        "length": size(0.2, 6),
        "diameter": size(0.1, 1),
    }
    return [
        {**piece, "mass": max(mass * _log(rng, 1e-4, 0.05), 1e-5)}
        for piece in (fin, nose, case)
        if rng.random() < 0.5
    ]


def _in_the_air(
    rng: random.Random, frame: dict[str, float]
) -> list[tuple[str, dict[str, object]]]:
    kind, wait = rng.random(), {"ignition": _log(rng, 0.01, 60)}
    if kind < 0.15:
        return [("air_start", wait), ("air_start.motor", _motor(rng, frame["mass"]))]
    if kind > 0.4:
        return []
    mass = max(frame["mass"] * rng.uniform(0.05, 0.6), 0.001)
    stage = {
        "mass": mass,
        "diameter": max(frame["diameter"] * rng.uniform(0.3, 1), 0.001),
        "length": max(frame["length"] * rng.uniform(0.2, 0.9), frame["diameter"]),
        **wait,
    }
    return [("sustainer", stage), ("sustainer.motor", _motor(rng, mass))]
