"""The renderer of the sample photographs: own geometry, own camera, Mitsuba for the light."""
