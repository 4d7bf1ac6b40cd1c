"""The march: heat, structure and hardness of every zone along the route.

References
----------
.. [1] Time step: two-stage L-stable Rosenbrock step, J. G. Verwer, E. J. Spee, J. G. Blom &
   W. Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456 (from memory).
.. [2] Points through the wall: Lobatto, lumped mass, A. T. Patera, J. Comput. Phys. 54 (1984) 468
   (from memory).
.. [3] 0.9 of plastic work becomes heat: G. I. Taylor & H. Quinney, Proc. R. Soc. A 143 (1934) 307
   (from memory).
.. [4] Retained austenite of 180-250 HV: textbook range (from memory).
.. [5] Carbides dissolved nine times faster or slower as ends of an 80 % interval: three times
   finer or coarser (our choice).
"""
