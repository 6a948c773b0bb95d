import { dataset, type FieldValues } from "../dataset.ts";
import { arrayOf, string, uint16, uint32 } from "../dataTypes.ts";

const fields = {
  /** Hundredths: 100 is version 1.00. */
  standardVersion: uint16,
  /** 0: none. */
  vendorExtensionId: uint32,
  /** Hundredths. */
  vendorExtensionVersion: uint16,
  vendorExtensionDesc: string,
  /** 0 standard, 1 sleep, bit 15 set: the maker's own. */
  functionalMode: uint16,
  operationsSupported: arrayOf(uint16),
  eventsSupported: arrayOf(uint16),
  devicePropertiesSupported: arrayOf(uint16),
  captureFormats: arrayOf(uint16),
  imageFormats: arrayOf(uint16),
  manufacturer: string,
  model: string,
  deviceVersion: string,
  serialNumber: string,
};

/** What a device says of itself; the lists describe its current functional mode. */
export type DeviceInfo = FieldValues<typeof fields>;

/** The DeviceInfo dataset of GetDeviceInfo. Source: MTP 1.1 §5.1.1. */
export const deviceInfo = dataset("DeviceInfo", fields, 6);
