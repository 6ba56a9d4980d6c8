"""What every computation and field rests on: instants, units, sentences, rare counts. Pure, no Django."""
