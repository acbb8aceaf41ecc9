"""What is true of one thing: published laws and frozen data, as pure functions of numbers and arrays.

Nothing here has a clock, draws at random, or touches a file. Import the modules by name, for instance
``from models import rain_attenuation``.
"""
