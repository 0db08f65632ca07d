"""From a sighting to a corrected reading, and everything that is done with readings."""
