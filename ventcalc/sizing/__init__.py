"""How large must fans, ducts, doors, humidifier, refrigeration and insulation be?"""
