"""What the parts at hand really do: sensor, lens, lights, measured before they are used."""
