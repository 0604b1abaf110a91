"""Ask for advice from another program: one moment of an invented bay, in °C, Pa and fractions."""

from datetime import datetime

import ventcalc as vc

bay = vc.example_bay("seed_bay")  # or vc.read_bay("my_bay.toml")
readings = vc.Readings(
    time=datetime.fromisoformat("2026-10-27T04:00:00-06:00").timestamp(),
    outside_temperature=-1.0,
    outside_relative_humidity=0.55,
    return_temperature=9.6,
    return_relative_humidity=0.95,
    plenum_temperature=8.9,
    pulp_bottom=8.7,
    pulp_mean=9.1,
    pulp_top=9.5,
    pulp_coldest=8.7,
    pressure=84_100.0,
)
advice, memory = vc.advise(bay, readings)  # next time: vc.advise(bay, readings, memory)

dew_point = vc.air.dew_point(vc.air.humidity_ratio(9.6, 0.95, readings.pressure), readings.pressure)
print(f"fans {advice.fan_speed:.2f}, door {advice.door_opening:.2f} for {advice.valid_for:.0f} s")
print(f"dew point of the return air {dew_point:.3f} °C")
print(*vc.reasons(advice, bay, "metric"), sep="\n")
