"""
Every unit that ventcalc understands, each with its definition and its spellings.

Factors: NIST Special Publication 811 (Thompson & Taylor, 2008), appendix B.8, where nothing
else is said. A spelling that is not here is refused, so that no unit of the same name (a
British ton, a decimal prefix) can slip in.
"""

from __future__ import annotations

__all__ = ["DEFINITIONS", "EXAMPLES"]

DEFINITIONS = """
meter = [length] = m = metre = meters = metres
millimeter = 0.001 * meter = mm = millimetre
centimeter = 0.01 * meter = cm = centimetre
kilometer = 1000 * meter = km
inch = 0.0254 * meter = in = inches
foot = 0.3048 * meter = ft = feet
yard = 0.9144 * meter = yd = yards
mile = 1609.344 * meter = mi = miles

kilogram = [mass] = kg
gram = 0.001 * kilogram = g = grams
milligram = 1e-6 * kilogram = mg
tonne = 1000 * kilogram = t = tonnes
pound = 0.45359237 * kilogram = lb = lbs = pounds
grain = 6.479891e-5 * kilogram = gr = grains
short_ton = 2000 * pound = ton = tons = short_tons
long_ton = 2240 * pound = long_tons
short_hundredweight = 100 * pound = cwt

second = [time] = s = sec = seconds
minute = 60 * second = min = minutes
hour = 3600 * second = h = hr = hours
day = 86400 * second = d = days
week = 604800 * second = weeks

degree = [angle] = deg = degrees

kelvin = [temperature] = K = delta_degC = degC = celsius = C = ΔdegC
delta_degF = 5 / 9 * kelvin = degF = fahrenheit = F = ΔdegF

liter = 0.001 * meter ** 3 = L = l = litre = liters = litres
gallon = 231 * inch ** 3 = gal = gallons
cfm = foot ** 3 / minute = CFM
fpm = foot / minute
mph = mile / hour

newton = kilogram * meter / second ** 2 = N
kilonewton = 1000 * newton = kN
pound_force = 4.4482216152605 * newton = lbf
pascal = newton / meter ** 2 = Pa
hectopascal = 100 * pascal = hPa = mbar
kilopascal = 1000 * pascal = kPa
psi = 4.4482216152605 * newton / inch ** 2
psf = 4.4482216152605 * newton / foot ** 2
inH2O = 249.08891 * pascal = inwg = inwc
mmH2O = 9.80665 * pascal
inHg = 3386.389 * pascal

joule = newton * meter = J
kilojoule = 1000 * joule = kJ
megajoule = 1e6 * joule = MJ
Btu = 1055.05585262 * joule = BTU
kWh = 3.6e6 * joule
MWh = 3.6e9 * joule
watt = joule / second = W = watts
milliwatt = 0.001 * watt = mW
kilowatt = 1000 * watt = kW
megawatt = 1e6 * watt = MW
horsepower = 550 * foot * 4.4482216152605 * newton / second = hp
ton_refrigeration = 12000 * Btu / hour = tons_refrigeration

money = [money]
percent = 0.01
ppm = 1e-6
"""
"""One unit a line: name = meaning = further spellings. Btu is the International Table one, inH2O
the conventional one, ``ton`` the US ton of 2 000 lb, the gallon that of the US, the hp of 550 ft
lbf/s."""

EXAMPLES = {
    "1": ("a fraction", "0.95", "95 %"),
    "degC": ("a temperature", "38 degF", "3.3 degC"),
    "delta_degC": ("a temperature difference", "2.7 delta_degF", "1.5 delta_degC"),
    "delta_degC/s": ("a rate of temperature", "0.5 degF/day", "0.3 degC/day"),
    "m": ("a length", "16 ft", "4.9 m"),
    "m2": ("an area", "6250 ft2", "580 m2"),
    "m3": ("a volume", "50000 ft3", "1400 m3"),
    "kg": ("a mass", "4e6 lb", "1800 t"),
    "kg/m3": ("a density", "40 lb/ft3", "640 kg/m3"),
    "m3/kg": ("a specific volume", "15.5 ft3/lb", "0.97 m3/kg"),
    "s": ("a time", "60 min", "14 days"),
    "m/s": ("a velocity", "1000 ft/min", "5 m/s"),
    "m3/s": ("an airflow", "40000 cfm", "68000 m3/h"),
    "m3/(s kg)": ("an airflow per mass of crop", "20 cfm/ton", "40 m3/(h t)"),
    "deg": ("an angle", "34 deg", "30 degrees"),
    "N": ("a force", "500 lbf", "2 kN"),
    "N/m": ("a force per length", "2000 lbf/ft", "30 kN/m"),
    "Pa": ("a pressure", "1.0 inH2O", "250 Pa"),
    "W": ("a power", "30 kW", "25 ton_refrigeration"),
    "W/kg": ("a heat flow per mass", "100 Btu/(h ton)", "30 W/t"),
    "J": ("an energy", "1000 kWh", "3600 MJ"),
    "J/kg": ("energy per mass", "20 Btu/lb", "46 kJ/kg"),
    "kg/s": ("a mass flow", "300 lb/hour", "140 kg/hour"),
    "W/(m2 K)": ("a heat transmittance", "0.035 Btu/(h ft2 degF)", "0.2 W/(m2 K)"),
    "1/s": ("a rate", "0.1 /hour", "2.4 /day"),
    "money/J": ("a price of energy", "0.09 /kWh", "0.02 /MJ"),
    "money/kg": ("a price per mass", "10 /cwt", "220 /t"),
}
"""Internal unit: what it measures, and how one may write it."""
