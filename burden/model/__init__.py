"""The population model: life cycle and temperature, hosts, the forward equations, and the probability of
elimination."""
