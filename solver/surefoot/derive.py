"""A chain's points and Jacobian as expressions, derived by SymPy from the rig's own description.

It is slow and exact: a witness that the hand-written arrays are right, and a way to carry a rig's formulas elsewhere.
"""

from __future__ import annotations

from typing import Any

from surefoot.hinge_chain import HingeChain, leg_hinges
from surefoot.rig import FEET, Rig

__all__ = ["derive_chain", "derived_text"]


def derive_chain(chain: HingeChain) -> tuple[list[Any], dict[str, Any], dict[str, Any]]:
    """Return the angles' symbols, and by point its place (3 by 1) and its Jacobian (3 by hinges), in root space.

    Numbers stay as they are in the chain, metres; angles are in radians.
    """
    import sympy

    angles = [sympy.Symbol(hinge.name, real=True) for hinge in chain.hinges]
    turns = {"x": sympy.rot_ccw_axis1, "y": sympy.rot_ccw_axis2, "z": sympy.rot_ccw_axis3}
    whole, at = sympy.eye(3), sympy.zeros(3, 1)
    spaces = [(whole, at)]
    for hinge, angle in zip(chain.hinges, angles, strict=True):
        at = at + whole * sympy.Matrix(hinge.place)
        whole = whole * turns[hinge.axis](int(hinge.sign) * angle if hinge.sign in (1.0, -1.0) else hinge.sign * angle)
        spaces.append((whole, at))
    places = {name: spaces[k][1] + spaces[k][0] * sympy.Matrix(own) for name, k, own in chain.points}
    return angles, places, {name: place.jacobian(angles) for name, place in places.items()}


def derived_text(rig: Rig, *, side: str = "left", code: bool = False) -> str:
    """Return one leg's points and Jacobians in words of mathematics, or as Python code (with numpy as ``np``)."""
    import sympy
    from sympy.printing.numpy import NumPyPrinter

    chain = leg_hinges(rig.legs[FEET.index(side)], side=side, foot_yaw=rig.style == "joints")
    angles, places, slopes = derive_chain(chain)
    names = ", ".join(symbol.name for symbol in angles)
    if not code:
        lines = [f"{side} leg of {rig.name}: metres in hips space from the hip joint, radians"]
        for name, place in places.items():
            lines += [f"{name}.{axis} = {place[k]}" for k, axis in enumerate("xyz")]
            for h, angle in enumerate(angles):
                lines += [
                    f"d {name}.{axis} / d {angle.name} = {slopes[name][k, h]}"
                    for k, axis in enumerate("xyz")
                    if slopes[name][k, h] != 0
                ]
        return "\n".join(lines)
    printer = NumPyPrinter({"fully_qualified_modules": False})
    parts = [sympy.Matrix.hstack(place, slopes[name]) for name, place in places.items()]
    shared, reduced = sympy.cse(parts)
    lines = ["import numpy as np", "from numpy import cos, sin", "", "", f"def leg({names}):"]
    lines += [f'    """Return point and Jacobian, 3 by {1 + len(angles)}, of {", ".join(places)}."""']
    lines += [f"    {symbol} = {printer.doprint(value)}" for symbol, value in shared]
    rows = [
        "[" + ", ".join(printer.doprint(value) for value in part.tolist()[k]) + "]"
        for part in reduced
        for k in range(3)
    ]
    for p, name in enumerate(places):
        lines.append(f"    {name} = np.array([{', '.join(rows[3 * p : 3 * p + 3])}])")
    return "\n".join([*lines, f"    return {', '.join(places)}"])
