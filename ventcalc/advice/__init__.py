"""What should fans, door, humidifier, refrigeration and heater do now, and why?"""
