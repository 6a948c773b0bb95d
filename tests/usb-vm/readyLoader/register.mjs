import { register } from "./api.mjs";

register();
