#!/usr/bin/env python3
"""Write physics/data/saturation.csv: saturation pressures of the refrigerants
callout knows, from CoolProp's reference equations of state.

  saturation.py            print the table
  saturation.py FILE       compare with FILE; exit 1 and name the first row that
                           differs by more than TOLERANCE

Bubble is saturated liquid (subcooling), dew is saturated vapour (superheat).
Temperatures are whole degrees Fahrenheit, pressures psi absolute.
"""
import csv
import math
import sys

import CoolProp
from CoolProp.CoolProp import AbstractState, QT_INPUTS

LOW, HIGH = -60, 155
PSI = 6894.757293168
TOLERANCE = 1e-5  # relative; the file's own rounding is 4 decimals

# R-410A and R-407C: pseudo-pure equations (Lemmon 2003). R-454B: Helmholtz
# mixture of R-32 and R-1234yf, 68.9/31.1 % by mass (ASHRAE 34 designation).
FLUIDS = [
    ("R-22", "R22", None),
    ("R-410A", "R410A", None),
    ("R-32", "R32", None),
    ("R-454B", "R32&R1234YF", (0.689, 0.311)),
    ("R-134a", "R134A", None),
    ("R-407C", "R407C", None),
]


def kelvin(fahrenheit):
    return (fahrenheit + 459.67) / 1.8


def branch(state, quality):
    """Pressure by temperature; None where the mixture solver finds no root."""
    solved = {}
    for t in range(LOW, HIGH + 1):
        try:
            state.update(QT_INPUTS, quality, kelvin(t))
            solved[t] = state.p() / PSI
        except ValueError:
            solved[t] = None
    return solved


def filled(solved, t):
    """Lagrange polynomial in ln p against 1/T through the six nearest roots."""
    near = sorted((n for n in solved if solved[n] is not None), key=lambda n: (abs(n - t), n))[:6]
    x, total = 1 / kelvin(t), 0.0
    for i in near:
        weight = 1.0
        for j in near:
            if j != i:
                weight *= (x - 1 / kelvin(j)) / (1 / kelvin(i) - 1 / kelvin(j))
        total += weight * math.log(solved[i])
    return math.exp(total)


def rows():
    for name, fluid, mass in FLUIDS:
        state = AbstractState("HEOS", fluid)
        if mass:
            state.set_mass_fractions(mass)
        columns = [branch(state, quality) for quality in (0, 1)]
        for t in range(LOW, HIGH + 1):
            method = "interpolated" if any(c[t] is None for c in columns) else "solved"
            bubble, dew = (c[t] if c[t] is not None else filled(c, t) for c in columns)
            yield name, t, bubble, dew, method


def write(out):
    out.write(f"# CoolProp {CoolProp.__version__}, HEOS backend; written by physics/generate/saturation.py\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["refrigerant", "fahrenheit", "bubble_psia", "dew_psia", "method"])
    for name, t, bubble, dew, method in rows():
        writer.writerow([name, t, f"{bubble:.4f}", f"{dew:.4f}", method])


def compare(path):
    with open(path, newline="") as f:
        kept = list(csv.DictReader(line for line in f if not line.startswith("#")))
    fresh = list(rows())
    if len(kept) != len(fresh):
        return f"{path} has {len(kept)} rows, CoolProp {CoolProp.__version__} gives {len(fresh)}"
    for k, (name, t, bubble, dew, method) in zip(kept, fresh):
        if (k["refrigerant"], k["fahrenheit"], k["method"]) != (name, str(t), method):
            return f"{path}: row {k} where {name} at {t} F ({method}) was expected"
        for column, p in (("bubble_psia", bubble), ("dew_psia", dew)):
            if abs(float(k[column]) - p) > p * TOLERANCE + 5e-5:
                return f"{path}: {name} at {t} F {column} is {k[column]}, CoolProp {CoolProp.__version__} gives {p:.4f}"
    return None


if __name__ == "__main__":
    if len(sys.argv) > 1:
        problem = compare(sys.argv[1])
        if problem:
            sys.exit(problem)
        print(f"{sys.argv[1]}: every row agrees with CoolProp {CoolProp.__version__}")
    else:
        write(sys.stdout)
