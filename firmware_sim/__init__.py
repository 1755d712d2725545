"""A simulated lawn, operator, sprayer, weather and sensors: an independent witness of the service's figures."""
