"""Sample sheets and sightings to layer, origin and agreement with the scan."""
