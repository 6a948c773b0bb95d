// Opens the named camera as the user who runs this, and prints how that went.
import { UsbTransport } from "../../controller/cameras/usb/usbTransport.ts";
import { asNightError } from "../../core/errors.ts";

const transport = new UsbTransport({ which: process.argv[2] ?? null });
try {
  await transport.open(10_000);
  process.stdout.write("open\n");
  await transport.close();
} catch (thrown) {
  const { code, message } = asNightError(thrown);
  process.stdout.write(`${code}: ${message}\n`);
}
