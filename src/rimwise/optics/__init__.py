"""A ray-tracing kernel with no eye in it: surfaces, media, rays, wavefronts and images."""
