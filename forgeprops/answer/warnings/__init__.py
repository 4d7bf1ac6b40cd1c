"""What to warn of: rules on the columns of an evaluation, each with its sentence for one case."""
