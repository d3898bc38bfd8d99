"""Weather, irrigation and reference evapotranspiration, as they come and as they are used."""
