import { mount } from "svelte";

import App from "./App.svelte";
import "./lib/theme/theme.css";
import "./lib/theme/base.css";

const page = document.getElementById("page");
if (page) mount(App, { target: page });
