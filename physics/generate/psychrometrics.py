#!/usr/bin/env python3
"""Print moist-air check points from PsychroLib as CSV, for the Go test that
compares physics/air.go with a general library. Inch-pound units, psia.
"""
import csv
import sys

import psychrolib as ps

ps.SetUnitSystem(ps.IP)
out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["psia", "dry_bulb", "rh_percent", "wet_bulb", "humidity_ratio", "dew_point", "enthalpy", "volume"])
for feet in (0, 5000):
    p = ps.GetStandardAtmPressure(feet)
    for db in (20, 35, 50, 65, 75, 80, 95, 105):
        for rh in (15, 30, 50, 70, 90):
            w = ps.GetHumRatioFromRelHum(db, rh / 100, p)
            out.writerow(
                [f"{p:.5f}", db, rh]
                + [f"{v:.6f}" for v in (
                    ps.GetTWetBulbFromHumRatio(db, w, p), w, ps.GetTDewPointFromHumRatio(db, w, p),
                    ps.GetMoistAirEnthalpy(db, w), ps.GetMoistAirVolume(db, w, p))]
            )
