"""What the crop is: species, composition, moisture bases, sorption, heat, density, balance.

This room knows nothing of air, machines or stations.
"""
