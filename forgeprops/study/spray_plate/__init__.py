"""Heat transfer of the spray from a plate with thermocouples."""
