import { spawn, spawnSync } from "node:child_process";
import {
  chmodSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { homedir } from "node:os";
import { basename, join } from "node:path";
import { fileURLToPath } from "node:url";

const HERE = fileURLToPath(new URL("./", import.meta.url));
/** The folder that the machine works in, under its own path. */
export const PROJECT = fileURLToPath(new URL("../../", import.meta.url)).replace(/\/$/, "");

/** Programs that build and run the machine, with the Debian packages that bring them. */
const TOOLS: Readonly<Record<string, string>> = {
  "qemu-system-x86_64": "qemu-system-x86",
  busybox: "busybox-static",
  cpio: "cpio",
  depmod: "kmod",
  xz: "xz-utils",
  "apt-get": "apt",
  "dpkg-deb": "dpkg",
};
const UDEVD = "/lib/systemd/systemd-udevd";
/** What the first process needs before it has the host's modules. */
const BOOT_MODULES = ["virtio_pci", "9pnet_virtio", "9p", "overlay", "virtio_console"];
const MEMORY_MB = 2048;

/** The machine cannot be had here, and why. */
export class NoMachine extends Error {}

/** Kernel and first file system, ready to boot. */
export type Machine = { readonly dir: string; readonly modulesDir: string };

/**
 * Prepares kernel and first file system, once: they are kept in a cache folder.
 * @throws NoMachine with the reason when something is missing here.
 */
export function prepareMachine(): Machine {
  if (process.platform !== "linux" || process.arch !== "x64") {
    throw new NoMachine(
      `it needs Linux on x86-64, and this is ${process.platform} ${process.arch}`,
    );
  }
  const missing = Object.entries(TOOLS).filter(([tool]) => !hasProgram(tool));
  if (!existsSync(UDEVD)) missing.push([UDEVD, "udev"]);
  if (missing.length > 0) {
    const packages = missing.map(([, name]) => name).join(" ");
    throw new NoMachine(`missing here: apt-get install --no-install-recommends ${packages}`);
  }
  const dir = process.env["NATTVAKT_VM_DIR"] ?? join(homedir(), ".cache", "nattvakt-usb-vm");
  mkdirSync(dir, { recursive: true });
  unpackKernel(dir);
  const modulesDir = join(dir, "kernel", "lib", "modules");
  const [version] = readdirSync(modulesDir);
  if (version === undefined) throw new NoMachine("the kernel package holds no modules");
  if (!existsSync(join(modulesDir, version, "modules.dep"))) {
    run("depmod", ["-b", join(dir, "kernel"), version]);
  }
  extractKernel(dir, version);
  buildFirstFiles(dir, version);
  return { dir, modulesDir };
}

/** Debian's own kernel, unpacked and not installed. */
function unpackKernel(dir: string): void {
  const kernel = join(dir, "kernel");
  if (existsSync(kernel)) return;
  const depends = spawnSync("apt-cache", ["depends", "linux-image-amd64"], { encoding: "utf8" });
  const name = /Depends: (linux-image-\S+)/.exec(depends.stdout ?? "")?.[1];
  if (name === undefined) {
    throw new NoMachine("no kernel package is known here; run apt-get update first");
  }
  const debs = mkdtempSync(join(dir, "debs-"));
  try {
    const got = spawnSync("apt-get", ["download", name], { cwd: debs, encoding: "utf8" });
    const [deb] = readdirSync(debs).filter((file) => file.endsWith(".deb"));
    if (got.status !== 0 || deb === undefined) {
      throw new NoMachine(`the kernel package ${name} cannot be downloaded`);
    }
    const part = `${kernel}.part`;
    rmSync(part, { recursive: true, force: true });
    run("dpkg-deb", ["-x", join(debs, deb), part]);
    renameSync(part, kernel);
  } finally {
    rmSync(debs, { recursive: true, force: true });
  }
}

/**
 * The plain kernel out of its self-extracting file, which would unpack itself slowly under
 * emulation. Source: the boot protocol of Linux on x86: setup sectors at 0x1f1, payload's offset and
 * length at 0x248 and 0x24c.
 */
function extractKernel(dir: string, version: string): void {
  const plain = join(dir, "vmlinux");
  if (existsSync(plain)) return;
  const packed = readFileSync(join(dir, "kernel", "boot", `vmlinuz-${version}`));
  const start = (1 + (packed[0x1f1] || 4)) * 512 + packed.readUInt32LE(0x248);
  const payload = packed.subarray(start, start + packed.readUInt32LE(0x24c));
  const unpacked = spawnSync("xz", ["-dc", "--single-stream"], {
    input: payload,
    maxBuffer: 256 * 1024 * 1024,
  });
  if (unpacked.stdout.subarray(1, 4).toString() !== "ELF") {
    throw new NoMachine("the kernel is packed in a way that is not known here");
  }
  writeFileSync(plain, unpacked.stdout);
}

function buildFirstFiles(dir: string, version: string): void {
  const first = mkdtempSync(join(dir, "first-"));
  try {
    for (const folder of ["bin", "proc", "sys", "dev", "modules", "root", "tmp"]) {
      mkdirSync(join(first, folder));
    }
    copyFileSync(pathOf("busybox"), join(first, "bin", "busybox"));
    copyFileSync(join(HERE, "init.sh"), join(first, "init"));
    chmodSync(join(first, "init"), 0o755);
    const files = BOOT_MODULES.flatMap((name) => modulesFor(name, dir, version));
    const unique = [...new Set(files)];
    for (const file of unique) copyFileSync(file, join(first, "modules", basename(file)));
    const list = unique.map((file) => `${basename(file)}\n`).join("");
    writeFileSync(join(first, "modules", "list"), list);
    const paths = spawnSync("find", ["."], { cwd: first }).stdout;
    const packed = spawnSync("cpio", ["-o", "-H", "newc", "--quiet"], {
      ...{ cwd: first, input: paths, maxBuffer: 256 * 1024 * 1024 },
    });
    writeFileSync(join(dir, "first.cpio"), packed.stdout);
  } finally {
    rmSync(first, { recursive: true, force: true });
  }
}

/** A module and what it depends on, in the order of loading. */
function modulesFor(name: string, dir: string, version: string): readonly string[] {
  const args = ["-d", join(dir, "kernel"), "-S", version, "--show-depends", name];
  const { stdout } = spawnSync("modprobe", args, { encoding: "utf8" });
  return [...stdout.matchAll(/^insmod (\S+)/gm)].map(([, file]) => file!);
}

export type RunOptions = {
  /** Shell commands, run as root in the project's folder. */
  readonly command: string;
  readonly timeoutMs: number;
  /** Folder that the machine's own emulated camera shows. */
  readonly cameraDir: string;
  /** Takes what the machine prints; left out: it goes on to standard output. */
  readonly onOutput?: (text: string) => void;
};

/**
 * Boots, runs the command, passes on what it prints, and powers off.
 * @returns the command's exit code; null: the machine did not come to an end in time.
 */
export async function runMachine(machine: Machine, options: RunOptions): Promise<number | null> {
  const state = mkdtempSync(join(machine.dir, "run-"));
  try {
    writeFileSync(join(state, "project"), PROJECT);
    writeFileSync(join(state, "inside.sh"), insideScript(options.command));
    await boot(qemuArgs(machine, state, options.cameraDir), options);
    const result = join(state, "result");
    return existsSync(result) ? Number(readFileSync(result, "utf8")) : null;
  } finally {
    rmSync(state, { recursive: true, force: true });
  }
}

function insideScript(command: string): string {
  return `exec >/dev/virtio-ports/out 2>&1
export PATH=${process.env["PATH"] ?? ""}:/usr/sbin:/sbin HOME=/root LANG=C.UTF-8
cd ${JSON.stringify(PROJECT)}
(${command}
)
echo $? >/run/vm/result
sync
sleep 0.2
/bin/busybox poweroff -f
`;
}

function qemuArgs(machine: Machine, state: string, cameraDir: string): readonly string[] {
  const share = (tag: string, path: string, isReadOnly: boolean): readonly string[] => [
    "-virtfs",
    `local,path=${path},mount_tag=${tag},security_model=none,multidevs=remap${isReadOnly ? ",readonly=on" : ""}`,
  ];
  const monitor = join(state, "monitor.sock");
  return [
    ...["-accel", "tcg,thread=multi", "-cpu", "max", "-M", "q35,usb=off"],
    ...["-m", String(MEMORY_MB), "-smp", "2", "-nic", "none", "-no-user-config", "-nodefaults"],
    ...["-display", "none", "-vga", "none", "-no-reboot"],
    ...["-kernel", join(machine.dir, "vmlinux"), "-initrd", join(machine.dir, "first.cpio")],
    "-append",
    "console=ttyS0 panic=-1 mitigations=off random.trust_cpu=on quiet tsc=reliable",
    ...["-serial", `file:${join(machine.dir, "console.log")}`],
    ...["-device", "virtio-serial-pci", "-chardev", "stdio,id=out,signal=off"],
    ...["-device", "virtserialport,chardev=out,name=out"],
    // The machine pulls and plugs its own camera through QEMU's monitor.
    ...["-chardev", `socket,id=monitor,path=${monitor},server=on,wait=off`],
    ...["-mon", "chardev=monitor,mode=readline"],
    ...["-chardev", `socket,id=hand,path=${monitor}`],
    ...["-device", "virtserialport,chardev=hand,name=monitor"],
    ...share("host", "/", true),
    ...share("project", PROJECT, true),
    ...share("modules", machine.modulesDir, true),
    ...share("state", state, false),
    ...["-device", "qemu-xhci,id=bus"],
    ...["-device", `usb-mtp,bus=bus.0,id=camera,rootdir=${cameraDir},readonly=on,desc=card`],
  ];
}

function boot(args: readonly string[], { timeoutMs, onOutput }: RunOptions): Promise<void> {
  // Its input stays open: at the end of input the machine would wait for a reader of its output.
  const child = spawn("qemu-system-x86_64", args, { stdio: ["pipe", "pipe", "inherit"] });
  if (onOutput) child.stdout.setEncoding("utf8").on("data", onOutput);
  else child.stdout.pipe(process.stdout, { end: false });
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => child.kill("SIGKILL"), timeoutMs);
    child.once("error", reject);
    child.once("close", () => {
      clearTimeout(timer);
      resolve();
    });
  });
}

function hasProgram(name: string): boolean {
  return spawnSync("sh", ["-c", `PATH=$PATH:/usr/sbin:/sbin command -v ${name}`]).status === 0;
}

function pathOf(name: string): string {
  return spawnSync("sh", ["-c", `command -v ${name}`], { encoding: "utf8" }).stdout.trim();
}

function run(program: string, args: readonly string[]): void {
  const { status, stderr } = spawnSync(program, args, {
    encoding: "utf8",
    env: { ...process.env, PATH: `${process.env["PATH"] ?? ""}:/usr/sbin:/sbin` },
  });
  if (status !== 0) throw new NoMachine(`${program} failed: ${stderr.trim()}`);
}
