/** Object formats that the program meets, by the standard's names. Source: MTP 1.1 A.1. */
export const FORMATS = {
  /** An object that is no image and of no known kind. */
  Undefined: 0x3000,
  /** A folder. */
  Association: 0x3001,
  Script: 0x3002,
  Text: 0x3004,
  /** An image of no known kind; many raw files are reported so. */
  UndefinedImage: 0x3800,
  ExifJpeg: 0x3801,
  TiffEp: 0x3802,
  Jfif: 0x3808,
  Png: 0x380b,
  Tiff: 0x380d,
  /** In no edition of MTP 1.1; implementations use it. */
  Dng: 0x3811,
} as const;

/**
 * Whether a format code is some kind of image: the standard's image block, or the range where
 * makers put their raw formats. Many raw files are reported as 0x3000 all the same, so the file's
 * name decides in the end. Source: MTP 1.1 A.1 for the first; common practice for the second.
 */
export function isImageFormat(code: number): boolean {
  return (code & 0xf800) === 0x3800 || (code & 0xff00) === 0xb100;
}

/** Whether a code is in the form of an object format at all, a maker's own included. */
export function isFormatCode(code: number): boolean {
  return code <= 0xffff && (code & 0x7000) === 0x3000;
}
