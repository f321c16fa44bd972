"""An invented district: farms, places, stations and two seasons of evidence. No name or number here is real."""
