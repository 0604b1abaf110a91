"""How large must fans, ducts, doors, humidifier, refrigeration and insulation be?"""

from ventcalc.sizing.size import CAUTIONS, Given, Size, Sizing, size_bay

__all__ = ["CAUTIONS", "Given", "Size", "Sizing", "size_bay"]
