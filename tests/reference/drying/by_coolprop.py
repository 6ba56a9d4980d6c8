"""Makes the tables of real gases beside it: ``pip install CoolProp==8.0.0``, then ``python by_coolprop.py``.

CoolProp weighs 40 MB, so the tests read its figures from these tables. None of them comes from this program: the
humidity ratio of hot air, with which CoolProp is asked, is psychrolib's.
"""

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import psychrolib
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

FOLDER = Path(__file__).parent
SEA_LEVEL_PA = 101_325
AIR = "computed: CoolProp 8.0.0, humid air after RP-1485, at 101 325 Pa"
HOT_AIR = f"{AIR}; humidity ratio psychrolib 2.5.0"
STEAM = "computed: CoolProp 8.0.0, water after IAPWS-95; 0 J/kg is the liquid at the triple point"
# Below the boiling point, where a kiln's air lies between dry and all but saturated.
WARM_C = (*range(20, 100, 5), 99.9)
SHARES = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
MOST_VAPOUR_PA = 95_000
HOT = [(99, 80), (105, 90), (110, 95), (115, 70), (120, 98), (130, 60), (130, 96)]
STEAM_PA = np.geomspace(101_000, 1_500_000, 60).round(-2)


def warm_air() -> Iterable[Sequence[object]]:
    """Humidity ratio, dew point, wet bulb and density of air by dry bulb and relative humidity."""
    for dry_c in WARM_C:
        for share in SHARES:
            if share * PropsSI("P", "T", dry_c + 273.15, "Q", 1, "Water") >= MOST_VAPOUR_PA:
                continue
            state = ("T", dry_c + 273.15, "R", share, "P", SEA_LEVEL_PA)
            ratio = HAPropsSI("W", *state)
            dew_c, wet_c = (HAPropsSI(name, *state) - 273.15 for name in ("D", "B"))
            density = (1 + ratio) / HAPropsSI("Vda", *state)
            yield dry_c, share, f"{ratio:.7f}", f"{dew_c:.3f}", f"{wet_c:.3f}", f"{density:.5f}", AIR


def hot_air() -> Iterable[Sequence[object]]:
    """Relative humidity, density and enthalpy of hot air by its bulbs."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for dry_c, wet_c in HOT:
        ratio = psychrolib.GetHumRatioFromTWetBulb(dry_c, wet_c, SEA_LEVEL_PA)
        state = ("T", dry_c + 273.15, "W", ratio, "P", SEA_LEVEL_PA)
        share, volume, heat = (HAPropsSI(name, *state) for name in ("R", "Vha", "Hda"))
        yield dry_c, wet_c, f"{ratio:.6f}", f"{share:.5f}", f"{1 / volume:.5f}", f"{heat:.0f}", HOT_AIR


def steam() -> Iterable[Sequence[object]]:
    """Enthalpy of saturated steam by absolute pressure."""
    datum = PropsSI("H", "T", 273.16, "Q", 0, "Water")
    for pascal in STEAM_PA:
        yield int(pascal), f"{PropsSI('H', 'P', pascal, 'Q', 1, 'Water') - datum:.0f}", STEAM


def write(name: str, head: str, rows: Iterable[Sequence[object]]) -> None:
    """Write a table."""
    with (FOLDER / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([*head.split(), "source"])
        writer.writerows(rows)


if __name__ == "__main__":
    write("real_gas_air", "dry_bulb_c rh humidity_ratio_kg_kg dew_point_c wet_bulb_c density_kg_m3", warm_air())
    write("real_gas_hot_air", "dry_bulb_c wet_bulb_c humidity_ratio_kg_kg rh density_kg_m3 enthalpy_j_kg_da", hot_air())
    write("steam_enthalpy", "pressure_pa enthalpy_j_kg", steam())
