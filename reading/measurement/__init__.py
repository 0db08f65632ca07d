"""A full measurement: several readings turned into one result with its budget."""
