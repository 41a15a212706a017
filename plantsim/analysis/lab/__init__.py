"""Laboratory tests of a wash water: read, fitted with intervals, and written as the water of a plant."""
