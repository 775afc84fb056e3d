"""The live link to a car: it reads and never writes anything that could change the car."""
