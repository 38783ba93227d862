"""How a part sits on a plate: pure functions of face, plate and load."""
