"""The face at the strike and after the quench."""
