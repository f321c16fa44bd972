"""The farm: its calls summed on the shared draws, counted once, and planned within what it has."""
