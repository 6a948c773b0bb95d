/** Said of everything that nobody has tried. */
export const FROM_MEMORY = "from memory, not tried on hardware";
