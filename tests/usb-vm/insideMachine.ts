/** Device files, rules and drivers first, as on any computer; then the command. */
export function insideMachine(
  { cameraDir, readyDir }: { readonly cameraDir: string; readonly readyDir: string },
  command: string,
): string {
  return `
mkdir -p /run/udev/rules.d
cp hardware-profiles/70-nattvakt.rules /run/udev/rules.d/
/lib/systemd/systemd-udevd --daemon
modprobe -a xhci-pci vhci-hcd
udevadm trigger --action=add --subsystem-match=usb
udevadm settle --timeout=20
export NATTVAKT_VM_CAMERA_DIR=${JSON.stringify(cameraDir)}
# For every user of the machine, and where packages are found.
cp -r ${JSON.stringify(readyDir)} node_modules/.ready
export NATTVAKT_READY_DIR=$PWD/node_modules/.ready
rm -rf node_modules/tsx
cp -r tests/usb-vm/readyLoader node_modules/tsx
${command}`;
}
