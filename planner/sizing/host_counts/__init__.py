"""How many hosts of each pool: Hall conditions, cutting planes, rounding, and the certificate of the bound."""
