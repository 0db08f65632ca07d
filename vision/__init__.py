"""From a photo of a micrometer screw gauge to a sighting: what the scale shows, and how surely."""
